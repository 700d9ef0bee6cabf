// MQTT.js as any plant would use it: argument 1 is the port. Prints a JSON line for each message, "ready" first.
const from = (name) => require(`${process.env.LASTGRAIN_NODE_MODULES}/${name}`);
const client = from("mqtt").connect(`mqtt://127.0.0.1:${process.argv[2]}`, { protocolVersion: 5 });
client.on("message", (topic, payload, packet) => {
  const { contentType, payloadFormatIndicator, userProperties, messageExpiryInterval } = packet.properties || {};
  const body = JSON.parse(payload.toString("utf8"));
  const how = { topic, qos: packet.qos, retain: packet.retain, contentType, payloadFormatIndicator };
  console.log(JSON.stringify({ ...how, userProperties, messageExpiryInterval, body }));
});
client.on("connect", () => client.subscribe("lastgrain/v1/#", { qos: 1 }, () => console.log('"ready"')));
client.on("error", (error) => { console.error(error.message); process.exit(1); });
process.stdin.on("end", () => client.end(() => process.exit(0))).resume();
