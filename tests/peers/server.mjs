// A machine tool that others' software serves: node-opcua builds an instance of MachineToolType from the official
// nodesets. Commands come as JSON lines on standard input, answers go as JSON lines to standard output.
//
//     node server.mjs PORT FOLDER LIMITS
//
// FOLDER: for certificates; LIMITS: server capabilities as JSON. Paths are browse names below the machine without
// their namespaces. Commands:
//
//     {"set": {PATH: [TYPE, VALUE], ...}}              values, all at one moment
//     {"bad": PATH}                                    a value of bad status
//     {"add_tool": [NAME, {PATH: [TYPE, VALUE], ...}]}  a tool in the list, paths below it
//     {"burst": [PATH, TYPE, FIRST, COUNT]}            COUNT values that count up, one after the other
import { createInterface } from "node:readline";
import {
    BrowseDirection, DataType, MessageSecurityMode, OPCUACertificateManager, OPCUAServer, SecurityPolicy, StatusCodes, Variant,
    VariantArrayType,
    coerceLocalizedText, coerceNodeId, makeEUInformation, nodesets,
} from "node-opcua";

const [port, folder, limits] = [Number(process.argv[2]), process.argv[3], JSON.parse(process.argv[4] ?? "{}")];
const MT = "http://opcfoundation.org/UA/MachineTool/";
const MCH = "http://opcfoundation.org/UA/Machinery/";
// what MachineToolType leaves to the maker and this machine has
const OPTIONALS = [
    "Equipment.Tools", "Monitoring.MachineTool.FeedOverride", "Monitoring.MachineTool.MachineryItemState",
    "Monitoring.MachineTool.MachineryItemState.CurrentState.Number", "Monitoring.MachineTool.OperationCounters",
    "Production.ActiveProgram.State",
];
const TOOL_OPTIONALS = ["Name", "Location", "Location.Name", "Location.PlaceNumber", "ToolLife"];
const LIFE_OPTIONALS = ["StartValue", "LimitValue", "WarningValue"];

const certificates = new OPCUACertificateManager({ rootFolder: folder, automaticallyAcceptUnknownCertificate: true });
const server = new OPCUAServer({
    port, host: "127.0.0.1", hostname: "127.0.0.1", resourcePath: "/peer",
    nodeset_filename: [
        nodesets.standard, nodesets.di, nodesets.machinery, nodesets.ia, nodesets.isa95JobControl,
        nodesets.machineryJobs, nodesets.machineTool,
    ],
    securityModes: [MessageSecurityMode.None], securityPolicies: [SecurityPolicy.None],
    serverCertificateManager: certificates, userCertificateManager: certificates,
    serverCapabilities: limits,
});
await server.initialize();
const space = server.engine.addressSpace;
const own = space.registerNamespace("urn:peer:machine");
const [mt, mch] = [MT, MCH].map((uri) => space.getNamespaceIndex(uri));

const machine = space.findObjectType("MachineToolType", mt).instantiate({
    browseName: { name: "Peer", namespaceIndex: own.index }, organizedBy: coerceNodeId(`ns=${mch};i=1001`),
    optionals: OPTIONALS,
});

// the library does not clone what two roads lead to; the nodeset declares it below OperationCounters
own.addVariable({
    componentOf: at(machine, "Monitoring/MachineTool/OperationCounters"), dataType: "UInt64",
    browseName: { name: "PartsProducedInLifetime", namespaceIndex: mt },
});

function at(start, path) {
    let node = start;
    for (const name of path.split("/")) {
        const next = node.findReferencesExAsObject("HierarchicalReferences", BrowseDirection.Forward)
            .find((child) => child.browseName.name === name);
        if (!next) throw new Error(`${node.browseName.name} has no ${name} (${path})`);
        node = next;
    }
    return node;
}

function variant(type, value) {
    if (type === "LocalizedText") return new Variant({ dataType: DataType.LocalizedText, value: coerceLocalizedText(value) });
    if (type === "UInt64") {
        return new Variant({ dataType: DataType.UInt64, arrayType: VariantArrayType.Scalar, value: [0, value] });
    }
    if (type === "State") return new Variant({ dataType: DataType.NodeId, value: coerceNodeId(value) });
    return new Variant({ dataType: DataType[type], value });
}

function setAll(start, values) {
    for (const [path, [type, value]] of Object.entries(values)) at(start, path).setValueFromSource(variant(type, value));
}

function addTool(name, values) {
    const list = at(machine, "Equipment/Tools");
    const tool = space.findObjectType("ToolType", mt).instantiate({
        browseName: { name, namespaceIndex: own.index }, componentOf: list, optionals: TOOL_OPTIONALS,
    });
    space.findVariableType("ToolLifeType", mt).instantiate({
        browseName: { name: "Life", namespaceIndex: own.index }, componentOf: at(tool, "ToolLife"), dataType: "Double",
        optionals: LIFE_OPTIONALS,
    });
    const unit = { dataType: DataType.ExtensionObject, value: makeEUInformation("C62", "1", "one") };
    at(tool, "ToolLife/Life/EngineeringUnits").setValueFromSource(new Variant(unit));
    setAll(tool, values);
}

const COMMANDS = {
    set: (values) => setAll(machine, values),
    bad: (path) => at(machine, path).setValueFromSource(new Variant({ dataType: DataType.Null }), StatusCodes.BadDeviceFailure),
    add_tool: ([name, values]) => addTool(name, values),
    burst: ([path, type, first, count]) => {
        const node = at(machine, path);
        for (let i = 0; i < count; i++) node.setValueFromSource(variant(type, first + i));
    },
};

await server.start();
const say = (answer) => console.log(JSON.stringify(answer));
say({ ready: `opc.tcp://127.0.0.1:${port}/peer` });
createInterface({ input: process.stdin }).on("line", (line) => {
    try {
        for (const [name, content] of Object.entries(JSON.parse(line))) COMMANDS[name](content);
        say({ ok: true, sessions: server.engine.currentSessionCount });
    } catch (problem) {
        say({ error: String(problem) });
    }
}).on("close", () => process.exit(0));
