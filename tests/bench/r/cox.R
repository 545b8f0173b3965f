# Median milliseconds of coxph() (fit, covariance, tests, concordance) on the columns of a CSV file.
suppressPackageStartupMessages(library(survival))
data <- read.csv(commandArgs(TRUE)[1])
timings <- replicate(3, system.time(coxph(Surv(time, event) ~ x1 + x2 + x3, data))[["elapsed"]])
cat(sprintf('{"milliseconds": %f}\n', 1000 * median(timings)))
