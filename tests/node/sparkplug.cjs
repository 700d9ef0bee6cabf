// Decodes Sparkplug B payloads with sparkplug-payload from npm. stdin: a JSON list of base64 texts.
const from = (name) => require(`${process.env.LASTGRAIN_NODE_MODULES}/${name}`);
const { decodePayload } = from("sparkplug-payload").get("spBv1.0");
const texts = JSON.parse(require("fs").readFileSync(0, "utf8"));
// 64-bit numbers come as Long objects.
const plain = (name, value) =>
  value && typeof value === "object" && "low" in value && "high" in value
    ? (BigInt(value.high) * 4294967296n + BigInt(value.low >>> 0)).toString() + "n"
    : value;
console.log(JSON.stringify(texts.map((text) => decodePayload(Buffer.from(text, "base64"))), plain));
