"""The camera port, the libgphoto2 adapter and the simulated body."""
