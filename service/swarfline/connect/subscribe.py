"""Values by one subscription: raw publish callback, explicit queues, sequence numbers watched."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import Awaitable, Callable, Coroutine, Sequence

from asyncua import Client, ua

from swarfline import clock
from swarfline.connect.items import Item
from swarfline.connect.modelchange import model_changes, tells_of_changes
from swarfline.connect.numbering import Numbering, Republisher
from swarfline.connect.reasons import status_words
from swarfline.connect.services import Services
from swarfline.connect.source import Receive
from swarfline.connect.status import Tally
from swarfline.connect.supervise import silence_allowed_s
from swarfline.plant.model import Server

LEAST_LIFE_MS = 60_000
MOST_PER_MESSAGE = 2_000
"""Changes in one message: a flood comes in pieces, between which other servers have their turn."""
MOST_HELD = 20_000
"""Changes of one publishing cycle that are held to be sorted together, however many pieces it comes in."""
NO_SUBSCRIPTIONS = (
    ua.uaerrors.BadServiceUnsupported,
    ua.uaerrors.BadNotImplemented,
    ua.uaerrors.BadNotSupported,
)
"""How a server says that it has none, so that reading in a cycle is the way."""
_NONE_AT_ALL = frozenset(int(problem.code) for problem in NO_SUBSCRIPTIONS)
_NOT_WATCHED = _NONE_AT_ALL | frozenset(
    int(code)
    for code in (
        ua.StatusCodes.BadTooManyMonitoredItems,
        ua.StatusCodes.BadMonitoringModeInvalid,
        ua.StatusCodes.BadMonitoredItemFilterInvalid,
        ua.StatusCodes.BadMonitoredItemFilterUnsupported,
        ua.StatusCodes.BadFilterNotAllowed,
        ua.StatusCodes.BadResourceUnavailable,
        ua.StatusCodes.BadOutOfMemory,
    )
)
"""How it says that it does not watch a node, though it may well be read."""
_NOTHING_LOST_FILTER = ua.DataChangeFilter(
    Trigger=ua.DataChangeTrigger.StatusValue, DeadbandType=0, DeadbandValue=0
)


class Subscription:
    """The one subscription of a session."""

    def __init__(self, client: Client, services: Services, server: Server, tally: Tally, receive: Receive) -> None:
        self._client = client
        self._services = services
        self._server = server
        self._tally = tally
        self._receive = receive
        self._publish: Callable[..., Awaitable[ua.PublishResponse]]
        self._id = 0
        self._server_ids: dict[int, int] = {}
        self.granted: dict[int, tuple[float, int]] = {}
        """(revised sampling interval in ms, revised queue size) by handle."""
        self.unwatched: set[int] = set()
        """Handles refused by a server that may let their nodes be read."""
        self._numbering = Numbering()
        self._republisher = Republisher(client.uaclient.session, server.timeout_s)
        self._handles: list[int] = []
        self._values: list[ua.DataValue] = []
        self._is_torn = False
        self._problem = ""
        self._changed: Callable[[], None] = _nothing
        self.deadline_s = math.inf
        self.heard_s = asyncio.get_running_loop().time()
        self.interval_s = self.first_values_s = 0.0

    async def start(self) -> None:
        """Create the subscription and note what the server made of it."""
        session = self._client.uaclient.session
        self._publish, session.publish = session.publish, self._publish_noting
        interval_ms = self._server.publishing_ms
        keepalive = max(1, round(self._server.keepalive_s * 1000 / interval_ms))
        result = await self._client.uaclient.create_subscription(
            ua.CreateSubscriptionParameters(
                RequestedPublishingInterval=float(interval_ms),
                RequestedLifetimeCount=max(3 * keepalive, math.ceil(LEAST_LIFE_MS / interval_ms)),
                RequestedMaxKeepAliveCount=keepalive,
                MaxNotificationsPerPublish=MOST_PER_MESSAGE,
                PublishingEnabled=True,
                Priority=0,
            ),
            self._on_publish,
        )
        self._id = result.SubscriptionId
        revised_ms = result.RevisedPublishingInterval
        self._tally.revised_publishing_ms = revised_ms
        keepalive_s = revised_ms * result.RevisedMaxKeepAliveCount / 1000
        self.deadline_s = silence_allowed_s(max(keepalive_s, revised_ms / 1000))
        self.interval_s = revised_ms / 1000
        self.first_values_s = max(self._server.timeout_s, 3 * revised_ms / 1000)
        self.heard_s = asyncio.get_running_loop().time()

    async def add(self, items: Sequence[Item]) -> dict[int, str]:
        """Create monitored items in slices; the refused ones with reasons."""
        results = await self._services.sliced("monitor", items, self._create)
        refused = {}
        for item, result in zip(items, results, strict=True):
            if result.StatusCode.is_good():
                self._server_ids[item.handle] = result.MonitoredItemId
                self.granted[item.handle] = (result.RevisedSamplingInterval, result.RevisedQueueSize)
                self._tally.note_granted(result.RevisedSamplingInterval, result.RevisedQueueSize)
            else:
                refused[item.handle] = status_words(result.StatusCode.value)
                if result.StatusCode.value in _NOT_WATCHED:
                    self.unwatched.add(item.handle)
        self._tally.watched = len(self._server_ids)
        return refused

    async def _create(self, items: Sequence[Item]) -> list[ua.MonitoredItemCreateResult]:
        request = ua.CreateMonitoredItemsParameters(
            SubscriptionId=self._id,
            TimestampsToReturn=ua.TimestampsToReturn.Both,
            ItemsToCreate=[self._request(item) for item in items],
        )
        try:
            return list(await self._client.uaclient.create_monitored_items(request))
        except ua.UaStatusCodeError as problem:
            if problem.code not in _NOT_WATCHED or (len(items) > 1 and problem.code not in _NONE_AT_ALL):
                raise
            return [ua.MonitoredItemCreateResult(StatusCode=ua.StatusCode(problem.code)) for _ in items]

    def _request(self, item: Item) -> ua.MonitoredItemCreateRequest:
        sampling_ms = self._server.sampling_ms if item.state_like else self._server.sampling_analog_ms
        return ua.MonitoredItemCreateRequest(
            ItemToMonitor=ua.ReadValueId(NodeId=item.node, AttributeId=ua.AttributeIds.Value),
            MonitoringMode=ua.MonitoringMode.Reporting,
            RequestedParameters=ua.MonitoringParameters(
                ClientHandle=item.handle,
                SamplingInterval=float(sampling_ms),
                Filter=_NOTHING_LOST_FILTER,
                QueueSize=self._server.queue_size,
                DiscardOldest=True,
            ),
        )

    async def tell_of_changes(self, changed: Callable[[], None]) -> None:
        """Have ``changed`` called when nodes come or go, where the server tells of that."""
        request = ua.CreateMonitoredItemsParameters(
            SubscriptionId=self._id,
            TimestampsToReturn=ua.TimestampsToReturn.Neither,
            ItemsToCreate=[model_changes()],
        )
        self._changed = changed
        # many servers have no such events: then the slow look has to do
        with contextlib.suppress(ua.UaStatusCodeError):
            await self._client.uaclient.create_monitored_items(request)

    async def remove(self, handles: Sequence[int]) -> None:
        """Delete monitored items; those the server no longer has are no matter."""
        ids = [self._server_ids.pop(handle) for handle in handles if handle in self._server_ids]

        async def delete(some: Sequence[int]) -> list[ua.StatusCode]:
            request = ua.DeleteMonitoredItemsParameters(SubscriptionId=self._id, MonitoredItemIds=list(some))
            return list(await self._client.uaclient.delete_monitored_items(request))

        for handle in handles:
            self.granted.pop(handle, None)
            self.unwatched.discard(handle)
        self._tally.watched = len(self._server_ids)
        await self._services.sliced("monitor", ids, delete)

    async def delete(self) -> None:
        """Have the server forget the subscription, for a session that goes on or ends well."""
        await self._client.uaclient.delete_subscriptions([self._id])

    def ended(self) -> str:
        """The server's last word, or the end of the publish task."""
        task = self._client.uaclient.session._publish_task
        if self._problem:
            return self._problem
        return "the publish task ended: the server knows no subscription of ours" if task and task.done() else ""

    async def close(self) -> None:
        """Nothing of its own to stop: the session's end takes the subscription along."""

    async def _publish_noting(self, acks: list[ua.SubscriptionAcknowledgement]) -> ua.PublishResponse:
        """The library only logs a notification that it cannot decode; to us it is a sign of life, and a loss."""
        try:
            return await self._publish(acks)
        except ua.uaerrors.UaStructParsingError:
            self.heard_s = asyncio.get_running_loop().time()
            self._numbering.forget()
            self._take([], more=False, is_gap=True)
            raise

    def _on_publish(self, result: ua.PublishResult) -> Coroutine[None, None, None] | None:
        """The library waits for what is returned before it asks for the next message: the order stays."""
        message = result.NotificationMessage
        if message.SequenceNumber == 0:
            # made up by the client library when the transport is lost
            return None
        self.heard_s = asyncio.get_running_loop().time()
        missing = self._numbering.jump(message)
        if missing and self._republisher.has(missing, result.AvailableSequenceNumbers):
            return self._recover(missing, result)
        self._take([message], bool(result.MoreNotifications), is_gap=bool(missing))
        return None

    async def _recover(self, missing: Sequence[int], result: ua.PublishResult) -> None:
        fetched = await self._republisher.fetch(self._id, missing)
        self.heard_s = asyncio.get_running_loop().time()
        self._tally.republished += len(fetched)
        self._take([*fetched, result.NotificationMessage], bool(result.MoreNotifications), is_gap=not fetched)

    def _take(self, messages: Sequence[ua.NotificationMessage], more: bool, is_gap: bool) -> None:
        """Hold what the messages bring, and hand it over with the last piece of a publishing cycle."""
        self._is_torn |= is_gap
        try:
            for message in messages:
                self._unpack(message)
            if not more or len(self._handles) >= MOST_HELD:
                self._hand_over()
        except Exception as problem:
            # the library would only log it and go on without these values
            self._problem = f"a notification cannot be read: {type(problem).__name__}: {problem}"

    def _unpack(self, message: ua.NotificationMessage) -> None:
        for data in message.NotificationData or ():
            if isinstance(data, ua.DataChangeNotification):
                self._handles += [item.ClientHandle for item in data.MonitoredItems]
                self._values += [item.Value for item in data.MonitoredItems]
            elif isinstance(data, ua.EventNotificationList):
                if tells_of_changes(data):
                    self._changed()
            elif isinstance(data, ua.StatusChangeNotification) and data.Status.is_bad():
                self._problem = f"the server ended the subscription: {status_words(data.Status.value)}"

    def _hand_over(self) -> None:
        now_us = clock.now_us()
        self._tally.last_publish_us = now_us
        handles, values, is_torn = self._handles, self._values, self._is_torn
        self._handles, self._values, self._is_torn = [], [], False
        self._receive(handles, values, now_us, is_torn)


def _nothing() -> None:
    """Until someone asks to be told."""
