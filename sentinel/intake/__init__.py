"""Bytes in, decodes out: sources, line buffers and the layout template."""
