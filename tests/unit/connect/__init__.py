"""Tests of the connect room; ``plc`` is the server they watch, ``watching`` looks at what comes."""
