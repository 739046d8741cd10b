"""Rules across a whole flow, by subject. Each module ends with RULES: one function per code."""
