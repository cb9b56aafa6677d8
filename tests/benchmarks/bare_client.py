"""The least that an asyncua client can do with a subscription: the baseline of the benchmarks of collecting."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager
from typing import Any

SAMPLING_MS, QUEUE = 100, 200
_AT_ONCE = 500


@asynccontextmanager
async def counting(
    port: int, uri: str, names: Iterable[str], publishing_ms: int
) -> AsyncIterator[Callable[[], int]]:
    """Subscribed by raw callback to string NodeIds of a namespace; tells how many changes came so far."""
    from asyncua import Client, ua

    client = Client(f"opc.tcp://127.0.0.1:{port}/benchmark", watchdog_intervall=3600)
    client.session_timeout = 60_000
    await client.connect()
    index = await client.get_namespace_index(uri)
    seen = 0

    def count(result: Any) -> None:
        nonlocal seen
        for notification in result.NotificationMessage.NotificationData or ():
            seen += len(notification.MonitoredItems)

    made = await client.uaclient.create_subscription(
        ua.CreateSubscriptionParameters(float(publishing_ms), 1000, 4, 0, True, 0), count
    )
    wanted = [_item(ua, handle, ua.NodeId(name, index)) for handle, name in enumerate(names)]
    for first in range(0, len(wanted), _AT_ONCE):
        await client.uaclient.create_monitored_items(
            ua.CreateMonitoredItemsParameters(
                made.SubscriptionId, ua.TimestampsToReturn.Both, wanted[first : first + _AT_ONCE]
            )
        )
    yield lambda: seen
    await client.disconnect()


def _item(ua: Any, handle: int, node: Any) -> Any:
    return ua.MonitoredItemCreateRequest(
        ItemToMonitor=ua.ReadValueId(NodeId=node, AttributeId=ua.AttributeIds.Value),
        MonitoringMode=ua.MonitoringMode.Reporting,
        RequestedParameters=ua.MonitoringParameters(
            ClientHandle=handle, SamplingInterval=float(SAMPLING_MS), QueueSize=QUEUE, DiscardOldest=True
        ),
    )
