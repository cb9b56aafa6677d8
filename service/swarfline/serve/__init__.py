"""Serving: the API, the live stream and the page. Reads the store, lets measure compute, keeps nothing."""

from swarfline.serve.app import create_app
from swarfline.serve.server import make_server, serve

__all__ = ["create_app", "make_server", "serve"]
