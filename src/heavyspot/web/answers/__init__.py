"""What the calls answer, one file a subject: shapes for the schema; tests hold every answer against them.

They describe; they do not filter. An answer is never refused after its work was done.
"""
