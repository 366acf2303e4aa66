"""
What the main job cannot do without, and nothing else: a module for each command of ours, with the
same libraries and none of the checks. ``job.py ratios`` times each beside the command.
"""
