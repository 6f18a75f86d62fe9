"""The helper package behind the workbooks: physics, logs, analysis, charts, panels, explain."""
