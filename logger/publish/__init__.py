"""The way to the plant: outbox to MQTT 5. One direction only; nothing here can reach an instrument."""
