"""The shop's statistics: control charts, capability, gauge studies, agreement, survival. Pure."""
