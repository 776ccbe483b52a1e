"""The daemon's own work: settings, folders, one frame from end to end."""
