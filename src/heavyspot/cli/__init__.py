"""The command line: parse, call one workshop verb, show. No arithmetic."""
