"""An authorized command as an order to the shutter process, with what is known of the body's latency."""

from __future__ import annotations

from collections.abc import Mapping

from duskhold.app.bodies import NOT_LEARNT, Latency, latency_of
from duskhold.app.exposing import Order
from duskhold.app.station import Station
from duskhold.light.dials import Mark
from duskhold.plan.command import ShutterCommand
from duskhold.plan.role import Role
from duskhold.shutter.report import Kind


def order_of(
    station: Station, command: ShutterCommand, role: Role, decision: Mapping[str, object], mark: Mark | None = None
) -> Order:
    """The order for a command; with `mark`, the body's dial times it, and nobody can stop it.

    Raises `HolderSilent` or `ProfileDamaged`.
    """
    latency = known_latency(station)
    open_s, cap_s = command.open_s, command.cap_s
    if mark is not None:
        open_s, cap_s = mark.true_value, max(cap_s, mark.true_value)
        dial = {"mark": mark.name, "open_s": mark.true_value, "can_be_stopped": False}
        decision = {**decision, "dial": dial}
    return Order(
        frame_id=command.frame_id,
        kind=Kind.HELD if mark is None else Kind.DIAL,
        role=role,
        open_s=open_s,
        cap_s=cap_s,
        latency_s=latency.seconds,
        latency_sigma_s=latency.sigma_s,
        decision=decision,
    )


def known_latency(station: Station) -> Latency:
    """What has been learnt of this body's latency. Raises `HolderSilent` or `ProfileDamaged`."""
    identity = station.identity()
    return NOT_LEARNT if identity is None else latency_of(station.folders, identity)
