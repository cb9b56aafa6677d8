"""Servers and clients that are not our own, against the service and the simulator."""
