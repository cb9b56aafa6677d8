"""The page: server-rendered HTML that is complete without scripts; the stream only keeps it fresh."""
