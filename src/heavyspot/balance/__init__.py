"""Limits, verdicts, responses, advice, cut geometry, uncertainty. Pure: arrays in, values out."""
