"""The bench in a browser: parse, call one workshop verb, show. No arithmetic."""
