"""The reference subscriber: the plant's messages into plain SQL tables. Apart from any bench; asks none."""
