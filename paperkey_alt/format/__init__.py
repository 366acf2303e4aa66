"""
What docs/format.md specifies, in its order: from a payload to lines, and back.

    A line, Leniency    field, reed_solomon, lines, raw_line
    The head line       head_line
    Spare lines         spare_lines
    The body            body, seal, line_set
    Shares              shares, backup
    Payload             buffer, fields, payload
    Restoring           recover
    Without line 0      computed_head

A module may import those of any section.
"""
