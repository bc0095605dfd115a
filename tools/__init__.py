"""Tools for those who work on spinlab; not installed with it."""
