"""The shutter processes: the holder that owns the camera handle, and its keeper."""
