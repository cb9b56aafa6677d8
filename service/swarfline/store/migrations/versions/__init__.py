"""Schema migrations, one file each in ``versions``."""
