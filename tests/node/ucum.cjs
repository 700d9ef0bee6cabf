// Reads a JSON list of unit codes on stdin, prints for each whether it is a valid UCUM code and its name.
const from = (name) => require(`${process.env.LASTGRAIN_NODE_MODULES}/${name}`);
const units = from("@lhncbc/ucum-lhc").UcumLhcUtils.getInstance();
const codes = JSON.parse(require("fs").readFileSync(0, "utf8"));
const answers = codes.map((code) => {
  const found = units.validateUnitString(code);
  return [code, { status: found.status, code: found.ucumCode, name: found.unit && found.unit.name }];
});
console.log(JSON.stringify(Object.fromEntries(answers)));
