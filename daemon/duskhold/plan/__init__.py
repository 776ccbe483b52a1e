"""Pure decisions: what to expose, within which limits, and whether it may be done."""
