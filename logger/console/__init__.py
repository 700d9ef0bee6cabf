"""The terminal screen and its line mode. Watches the service over its local socket and owns nothing."""
