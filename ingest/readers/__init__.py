"""One module per format or step: sniff and read, then names, time base, channel, amperes and checks."""
