"""Charts: functions from a data frame to what is drawn, in the words of Vega-Lite's grammar."""
