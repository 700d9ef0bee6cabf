// Reads an AsyncAPI document on stdin, prints what the parser finds wrong with it.
const from = (name) => require(`${process.env.LASTGRAIN_NODE_MODULES}/${name}`);
const { Parser } = from("@asyncapi/parser");
const text = require("fs").readFileSync(0, "utf8");
new Parser().parse(text).then(({ document, diagnostics }) => {
  const found = diagnostics.map((d) => ({ severity: d.severity, message: d.message, path: d.path }));
  const channels = document ? document.channels().all().map((c) => c.address()) : [];
  console.log(JSON.stringify({ found, channels }));
});
