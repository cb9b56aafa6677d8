// node-opcua's client at a server: browses, reads and subscribes to all variables below a node, one line of JSON.
//
//     node client.mjs ENDPOINT NAMESPACE_URI NAME FOLDER MS
//
// NAME: string identifier of the node to begin at; FOLDER: for certificates; MS: how long to subscribe. The answer:
//
//     {"variables": {PATH: {nodeId, status, type, rank, dataType, array}}, "changes": {PATH: [status, ...]}}
import {
    AttributeIds, BrowseDirection, ClientMonitoredItemGroup, DataType, MessageSecurityMode,
    NodeClass, OPCUACertificateManager, OPCUAClient, SecurityPolicy, TimestampsToReturn,
} from "node-opcua";

const [endpoint, uri, name, folder, ms] = process.argv.slice(2);
const client = OPCUAClient.create({
    endpointMustExist: false, securityMode: MessageSecurityMode.None, securityPolicy: SecurityPolicy.None,
    clientCertificateManager: new OPCUACertificateManager({ rootFolder: folder }),
    connectionStrategy: { maxRetry: 1 },
});
await client.connect(endpoint);
const session = await client.createSession();
const index = (await session.readNamespaceArray()).indexOf(uri);

const found = {};
async function walk(nodeId, path) {
    const result = await session.browse({
        nodeId, referenceTypeId: "HierarchicalReferences", includeSubtypes: true,
        browseDirection: BrowseDirection.Forward, resultMask: 63,
    });
    if (!result.statusCode.isGood()) throw new Error(`${path}: ${result.statusCode.toString()}`);
    for (const reference of result.references) {
        const below = `${path}/${reference.browseName.name}`;
        if (reference.nodeClass === NodeClass.Variable) found[below] = reference.nodeId;
        await walk(reference.nodeId, below);
    }
}
await walk(`ns=${index};s=${name}`, name);

const paths = Object.keys(found);
const reads = (attributeId) => session.read(paths.map((path) => ({ nodeId: found[path], attributeId })));
const [values, types, ranks] = await Promise.all([AttributeIds.Value, AttributeIds.DataType, AttributeIds.ValueRank].map(reads));
const variables = {};
paths.forEach((path, i) => {
    variables[path] = {
        nodeId: found[path].toString(), status: values[i].statusCode.name, type: DataType[values[i].value.dataType],
        array: values[i].value.arrayType !== 0, dataType: types[i].value.value.toString(), rank: ranks[i].value.value,
    };
});

const subscription = await session.createSubscription2({ requestedPublishingInterval: 100, publishingEnabled: true });
const changes = {};
const group = ClientMonitoredItemGroup.create(
    subscription, paths.map((path) => ({ nodeId: found[path], attributeId: AttributeIds.Value })),
    { samplingInterval: 50, discardOldest: true, queueSize: 100 }, TimestampsToReturn.Both,
);
group.on("changed", (item, value, i) => (changes[paths[i]] ??= []).push(value.statusCode.name));
await new Promise((resolve) => setTimeout(resolve, Number(ms)));
console.log(JSON.stringify({ variables, changes }));
await subscription.terminate();
await session.close();
await client.disconnect();
process.exit(0);
