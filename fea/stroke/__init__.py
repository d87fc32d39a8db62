"""The stroke: blank, tools, one step, one stage, the end of stroke and springback."""
