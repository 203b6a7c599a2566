"""The processes: the daemon and its beat, the service around it, maintenance, the owner's requests, replay."""
