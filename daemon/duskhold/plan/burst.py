"""Many short frames instead of one long one: what they are worth, what they need, and how the lead paces them."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BurstKit:
    """What the camera and the lead do: pause between frames when it keeps up, picture size, lead, and buffer."""

    gap_s: float
    picture_bytes: float
    lead_bytes_per_s: float
    buffer_frames: int

    @property
    def transfer_s(self) -> float:
        """One picture over the lead."""
        return self.picture_bytes / self.lead_bytes_per_s


@dataclass(frozen=True, slots=True)
class Burst:
    """A stack of equal frames. `equals_stops` is the filter that would make one frame of it all.

    `backlog_frames` is what would wait in the camera without pacing; with pacing the buffer is full after
    `full_after_s` and `full_at_frame` (None when it never fills), shooting ends at `shot_s`, all is home at `home_s`.
    """

    frame_s: float
    frames: int
    open_s: float
    equals_stops: float
    noise_divided_by: float
    needed_bytes: float
    unpaced_s: float
    backlog_frames: int
    full_after_s: float | None
    full_at_frame: int | None
    shot_s: float
    home_s: float


def plan_burst(base_s: float, filter_stops: float, frames: int, kit: BurstKit) -> Burst:
    """Arithmetic of `frames` frames through `filter_stops` that each get the base exposure."""
    assert frames > 0 and base_s > 0.0, "a burst has frames"
    frame_s = base_s * math.exp2(filter_stops)
    cycle_s = frame_s + kit.gap_s
    unpaced_s = frames * cycle_s
    full_at, shot_s, home_s = _paced(frames, frame_s, kit)
    return Burst(
        frame_s=frame_s,
        frames=frames,
        open_s=frames * frame_s,
        equals_stops=math.log2(frames * frame_s / base_s),
        noise_divided_by=math.sqrt(frames),
        needed_bytes=frames * kit.picture_bytes,
        unpaced_s=unpaced_s,
        backlog_frames=max(0, math.floor(frames - unpaced_s / kit.transfer_s)),
        full_after_s=None if full_at is None else full_at * cycle_s,
        full_at_frame=full_at,
        shot_s=shot_s,
        home_s=home_s,
    )


def noise_without(frames: int, left_out: int) -> float:
    """What random noise is divided by when some frames are left out of the average."""
    assert 0 <= left_out < frames, "something is left to average"
    return math.sqrt(frames - left_out)


def _paced(frames: int, frame_s: float, kit: BurstKit) -> tuple[int | None, float, float]:
    """Frame at which the buffer is full, end of shooting, end of transfer: frame by frame, one picture on the lead."""
    leaving: list[float] = []
    full_at, now_s, lead_free_s = None, 0.0, 0.0
    for index in range(frames):
        # The picture on the lead has left the buffer: a frame waits for the one `buffer_frames` back to set out.
        if index >= kit.buffer_frames and leaving[index - kit.buffer_frames] > now_s:
            full_at = index if full_at is None else full_at
            now_s = leaving[index - kit.buffer_frames]
        leaving.append(max(lead_free_s, now_s + frame_s))
        lead_free_s = leaving[-1] + kit.transfer_s
        now_s += frame_s + kit.gap_s
    return full_at, now_s, lead_free_s
