"""An invented band, honest in its physics, behind the demo and many tests."""
