"""`python -m duskhold.shutter.holding`: the holder with a concrete camera in its hands."""

from duskhold.camera.rig import build_camera
from duskhold.shutter.holder import main

if __name__ == "__main__":
    main(build_camera)
