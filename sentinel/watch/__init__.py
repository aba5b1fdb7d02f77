"""The core: from decodes and the time to a verdict. No clock, no file, no socket, no thread."""
