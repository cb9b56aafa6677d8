"""The walk over an address space: loops, pages that never end, bad answers, bounds. Expected values: by hand."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from asyncua import ua

from swarfline.connect.names import Refusal
from swarfline.connect.services import Services
from swarfline.connect.walk import NEVER_ENDS, Bounds, Walk, Walked

from .plc import Plc

OBJECTS = int(ua.ObjectIds.ObjectsFolder)
ANY = Bounds()


def reference(number: int, name: str = "", node_class: ua.NodeClass = ua.NodeClass.Object) -> Any:
    return ua.ReferenceDescription(
        NodeId=ua.ExpandedNodeId(number, 1),
        BrowseName=ua.QualifiedName(name or f"n{number}", 1),
        DisplayName=ua.LocalizedText(name or f"n{number}"),
        NodeClass=node_class,
        TypeDefinition=ua.ExpandedNodeId(ua.ObjectIds.FolderType),
    )


def page(*references: Any, point: bytes | None = None, status: int = 0) -> ua.BrowseResult:
    return ua.BrowseResult(StatusCode=ua.StatusCode(status), ContinuationPoint=point, References=list(references))


class Scripted:
    """The part of a client that browses: pages by node, next pages by continuation point.

    A point that is no key of ``further`` gives its last page again and again.
    """

    def __init__(self, first: Mapping[int, ua.BrowseResult], further: Mapping[bytes, ua.BrowseResult]) -> None:
        self.uaclient = self
        self._first, self._further = first, further
        self.asked: list[list[int]] = []
        self.released: list[bytes] = []
        self.most: set[int] = set()
        self.pages = 0
        self.points_at_once = 1000
        self.largest: int | None = None

    async def browse(self, asked: ua.BrowseParameters) -> list[ua.BrowseResult]:
        nodes = [node.NodeId.Identifier for node in asked.NodesToBrowse]
        self.most.add(asked.RequestedMaxReferencesPerNode)
        if self.largest is not None and len(nodes) > self.largest:
            raise ua.UaStatusCodeError(ua.StatusCodes.BadResponseTooLarge)
        self.asked.append(nodes)
        results, points = [], 0
        for node in nodes:
            result = self._first.get(node, page())
            points += result.ContinuationPoint is not None
            if result.ContinuationPoint is not None and points > self.points_at_once:
                result = page(status=ua.StatusCodes.BadNoContinuationPoints)
            results.append(result)
        return results

    async def browse_next(self, asked: ua.BrowseNextParameters) -> list[ua.BrowseResult]:
        point = asked.ContinuationPoints[0]
        if asked.ReleaseContinuationPoints:
            self.released.append(point)
            return [page()]
        self.pages += 1
        await asyncio.sleep(0)
        return [self._further[point]]


async def walk(client: Any, bounds: Bounds = ANY) -> Walked:
    one = Walk(Services(client), bounds, lambda *_: None)
    async with asyncio.timeout(60):
        await one.run()
    return one.walked


def names(walked: Walked) -> list[str]:
    return ["/".join(walked.places[step].name for step in walked.path(n)) for n in range(1, len(walked.places))]


def reasons(walked: Walked) -> dict[str, int]:
    return {trouble.reason: trouble.count for trouble in walked.troubles.values()}


async def test_a_loop_ends_and_the_shortest_path_stays() -> None:
    scripted = Scripted(
        {OBJECTS: page(reference(1), reference(2)), 1: page(reference(3)), 2: page(reference(4)),
         3: page(reference(5)), 4: page(reference(5), reference(1)), 5: page(reference(2), reference(3))},
        {},
    )  # fmt: skip
    walked = await walk(scripted)
    assert names(walked) == ["n1", "n2", "n1/n3", "n2/n4", "n1/n3/n5"]
    assert sorted(node for nodes in scripted.asked for node in nodes) == [1, 2, 3, 4, 5, OBJECTS]
    assert (walked.cut, walked.troubles) == ("", {})
    assert 0 not in scripted.most


async def test_all_pages_are_read() -> None:
    first = {OBJECTS: page(reference(1), point=b"a")}
    further = {b"a": page(reference(2), point=b"b"), b"b": page(reference(3))}
    assert names(await walk(Scripted(first, further))) == ["n1", "n2", "n3"]


@pytest.mark.parametrize("again", [page(point=b"a"), page(reference(1), point=b"a")], ids=["empty", "the same"])
async def test_pages_that_never_end_are_left_and_their_point_is_given_back(again: ua.BrowseResult) -> None:
    scripted = Scripted({OBJECTS: page(reference(1), reference(2), point=b"a")}, {b"a": again})
    walked = await walk(scripted)
    assert names(walked) == ["n1", "n2"]
    assert reasons(walked) == {NEVER_ENDS: 1}
    assert scripted.released == [b"a"]
    assert scripted.pages <= 5


async def test_an_empty_page_before_a_full_one_is_no_end() -> None:
    further = {b"a": page(point=b"b"), b"b": page(reference(2))}
    walked = await walk(Scripted({OBJECTS: page(reference(1), point=b"a")}, further))
    assert (names(walked), walked.troubles) == (["n1", "n2"], {})


async def test_bad_results_are_counted_with_an_example() -> None:
    denied = page(status=ua.StatusCodes.BadUserAccessDenied)
    first = {OBJECTS: page(reference(1), reference(2), reference(3)), 1: denied, 2: denied, 3: page(reference(4))}
    walked = await walk(Scripted(first, {}))
    assert names(walked) == ["n1", "n2", "n3", "n3/n4"]
    assert len(walked.troubles) == 1
    trouble = next(iter(walked.troubles.values()))
    assert ("BadUserAccessDenied" in trouble.reason, trouble.count, trouble.example) == (True, 2, "ns=1;i=1")


async def test_a_bad_later_page_keeps_what_came_before() -> None:
    bad = page(status=ua.StatusCodes.BadContinuationPointInvalid)
    walked = await walk(Scripted({OBJECTS: page(reference(1), point=b"a")}, {b"a": bad}))
    assert names(walked) == ["n1"]
    assert [reason for reason in walked.troubles if "BadContinuationPointInvalid" in reason]


async def test_a_server_with_one_continuation_point_is_seen_whole() -> None:
    first: dict[int, Any] = {OBJECTS: page(*(reference(n) for n in range(1, 6)))}
    further = {}
    for n in range(1, 6):
        first[n] = page(reference(10 + n), point=b"%d" % n)
        further[b"%d" % n] = page(reference(20 + n))
    scripted = Scripted(first, further)
    scripted.points_at_once = 1
    walked = await walk(scripted)
    assert (len(names(walked)), walked.troubles) == (15, {})


async def test_answers_that_are_too_large_are_asked_for_in_pieces() -> None:
    scripted = Scripted({OBJECTS: page(*(reference(n) for n in range(1, 9))), 8: page(reference(9))}, {})
    scripted.largest = 1
    assert len(names(await walk(scripted))) == 9


async def test_more_nodes_than_the_bound_cut_the_walk_and_the_point_is_given_back() -> None:
    many = {OBJECTS: page(*(reference(n) for n in range(1, 50)), point=b"a")}
    scripted = Scripted(many, {b"a": page(reference(99))})
    walked = await walk(scripted, Bounds(nodes=10))
    assert len(walked.places) - 1 == 10
    assert walked.cut == "the server has more than 10 nodes below Objects"
    assert scripted.released == [b"a"]
    assert scripted.pages == 0


async def test_exactly_the_bound_is_whole() -> None:
    walked = await walk(Scripted({OBJECTS: page(*(reference(n) for n in range(1, 11)))}, {}), Bounds(nodes=10))
    assert (len(walked.places) - 1, walked.cut) == (10, "")


async def test_what_lies_too_deep_is_told() -> None:
    first = {OBJECTS: page(reference(1)), **{n: page(reference(n + 1)) for n in range(1, 9)}}
    walked = await walk(Scripted(first, {}), Bounds(depth=3))
    assert names(walked)[-1] == "n1/n2/n3"
    assert list(reasons(walked)) == ["lies 3 steps deep; not looked below"]


async def test_time_ends_the_walk() -> None:
    class Slow(Scripted):
        async def browse(self, asked: ua.BrowseParameters) -> list[ua.BrowseResult]:
            await asyncio.sleep(0.02)
            return await super().browse(asked)

    endless = {OBJECTS: page(reference(1)), **{n: page(reference(n + 1)) for n in range(1, 5000)}}
    walked = await walk(Slow(endless, {}), Bounds(walk_s=0.1, depth=10_000))
    assert "longer than 0.1 s" in walked.cut
    assert 1 <= len(names(walked)) < 4000


async def test_other_servers_types_and_nameless_nodes_are_left_out() -> None:
    far = reference(7)
    far.NodeId = ua.ExpandedNodeId(7, 1, ServerIndex=2)
    nameless = reference(8)
    nameless.BrowseName = ua.QualifiedName("", 1)
    method = reference(9, node_class=ua.NodeClass.Method)
    walked = await walk(Scripted({OBJECTS: page(far, nameless, method, reference(1))}, {}))
    assert names(walked) == ["n1"]
    assert sorted(reasons(walked)) == ["has no browse name, or one that is too long", "lies on another server"]


async def test_a_real_server_is_walked_within_its_limit_and_the_server_object_is_left_out(
    free_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    from asyncua import Client

    async with Plc(free_port) as plc:
        place = await plc.machine("N1", State=3, Count=7)
        await plc.nodes["N1/State"].add_reference(place, ua.ObjectIds.Organizes)
        seen: list[Sequence[Any]] = []
        browse = plc.server.iserver.view_service.browse

        def noted(asked: ua.BrowseParameters, *rest: Any, **more: Any) -> Any:
            seen.append(asked.NodesToBrowse)
            return browse(asked, *rest, **more)

        monkeypatch.setattr(plc.server.iserver.view_service, "browse", noted)
        async with Client(plc.url) as client:
            services = Services(client)
            services.slices["browse"] = 2
            one = Walk(services, Bounds(), lambda *_: None)
            await one.run()
    found = names(one.walked)
    assert {"N1", "N1/State", "N1/Count"} <= set(found)
    assert not [name for name in found if name.startswith("Server")]
    assert max(len(nodes) for nodes in seen) <= 2


async def test_all_children_of_a_node_whose_pages_never_end_are_refused() -> None:
    scripted = Scripted({OBJECTS: page(reference(1), point=b"a")}, {b"a": page(point=b"a")})
    with pytest.raises(Refusal, match="cannot be browsed"):
        async with asyncio.timeout(60):
            await Services(scripted).children([ua.NodeId(OBJECTS)])
