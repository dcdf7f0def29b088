"""Blind trials: what is compared, the plan and its order, the sealed log, the session, its statistics.

In: a plan, answers, logs. Out: sessions, checked logs, findings in plain words.
May import: gains (what is heard), rig, files, units, errors; it knows no device and no screen.
"""
