"""Events by which a server tells that nodes came or went (OPC 10000-3, GeneralModelChangeEventType)."""

from __future__ import annotations

from asyncua import ua

HANDLE = 0
"""Client handle of the one event item; those of values begin at 1."""
MODEL_CHANGED = ua.NodeId(ua.ObjectIds.GeneralModelChangeEventType)
_EVENT_TYPE = ua.SimpleAttributeOperand(
    TypeDefinitionId=ua.NodeId(ua.ObjectIds.BaseEventType),
    BrowsePath=[ua.QualifiedName("EventType", 0)],
    AttributeId=ua.AttributeIds.Value,
)


def model_changes() -> ua.MonitoredItemCreateRequest:
    """An item of the Server object for these events alone, of which the type is enough for us."""
    only = ua.ContentFilterElement(
        FilterOperator=ua.FilterOperator.OfType,
        FilterOperands=[ua.LiteralOperand(Value=ua.Variant(MODEL_CHANGED))],
    )
    return ua.MonitoredItemCreateRequest(
        ItemToMonitor=ua.ReadValueId(
            NodeId=ua.NodeId(ua.ObjectIds.Server), AttributeId=ua.AttributeIds.EventNotifier
        ),
        MonitoringMode=ua.MonitoringMode.Reporting,
        RequestedParameters=ua.MonitoringParameters(
            ClientHandle=HANDLE,
            SamplingInterval=0.0,
            Filter=ua.EventFilter(SelectClauses=[_EVENT_TYPE], WhereClause=ua.ContentFilter(Elements=[only])),
            QueueSize=1,
            DiscardOldest=True,
        ),
    )


def tells_of_changes(events: ua.EventNotificationList) -> bool:
    """Whether one of them is such an event: some servers send every event, whatever was asked for."""
    return any(event.EventFields and event.EventFields[0].Value == MODEL_CHANGED for event in events.Events or ())
