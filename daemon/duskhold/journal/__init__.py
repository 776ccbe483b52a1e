"""Append-only record of every intent and outcome."""
