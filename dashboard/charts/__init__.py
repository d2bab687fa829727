"""Charts: functions from a data frame to an Altair chart, tested on their specification."""
