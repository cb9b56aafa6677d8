// Unit numbers of node-opcua's own table of UNECE units, as one line of JSON.
import { standardUnits } from "node-opcua";

const units = Object.values(standardUnits).map((unit) => [unit.unitId, unit.namespaceUri]);
console.log(JSON.stringify({ units }));
