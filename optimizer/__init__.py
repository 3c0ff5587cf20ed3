"""Search, ranking, reports and the command line of boxwright."""
