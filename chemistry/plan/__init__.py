"""The whole change: the household as models, the planner, the guards and the steps."""
