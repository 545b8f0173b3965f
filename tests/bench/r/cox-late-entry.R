# Median milliseconds of coxph() on start and stop times.
suppressPackageStartupMessages(library(survival))
data <- read.csv(commandArgs(TRUE)[1])
timings <- replicate(3, system.time(coxph(Surv(entry, time, event) ~ x1 + x2 + x3, data))[["elapsed"]])
cat(sprintf('{"milliseconds": %f}\n', 1000 * median(timings)))
