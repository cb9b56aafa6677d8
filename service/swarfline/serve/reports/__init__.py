"""Reports of a span: what they hold (``build``), and how they are written down: HTML, PDF, CSV (``formats``)."""
