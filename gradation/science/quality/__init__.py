"""Quality of the laboratory's own work: charts, capability, precision, comparison.

Imported module by module (`from gradation.science.quality import control_charts`):

- `control_charts`, `weighted_charts`: charts with limits frozen from a base period
- `run_rules`: what on a chart is out of the ordinary, named with its reason
- `capability`: Cp, Cpk, Pp, Ppk with intervals, percent within limits
- `outliers`: Cochran and Grubbs tests; `precision`: ISO 5725-2, Mandel h and k
- `scores`: z, zeta, En, robust mean; `comparison`: Deming line, limits of agreement
- `replicates`: mean of replicate results with outlier test and repeatability verdict

Nothing here imports the database or another layer; values are those of any characteristic
(passing in percent, a D-value, a mass), in its own unit, which the results keep.
"""
