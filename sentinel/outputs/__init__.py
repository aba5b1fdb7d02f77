"""What leaves the daemon: MQTT, discovery, the diary, the page."""
