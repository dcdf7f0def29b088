"""The listening bench in a terminal: screens only. What they show and do comes from `auralize`."""
