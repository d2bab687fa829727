"""Normal quantiles: how many standard deviations either side hold a share of all."""

Z_80 = 1.2815515655446004
Z_90 = 1.6448536269514722
Z_95 = 1.959963984540054
