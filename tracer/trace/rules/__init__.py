"""The rules of `check`, one file for each subject; each finding names its place and what to do."""
