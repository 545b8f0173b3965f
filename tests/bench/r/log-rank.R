# Median milliseconds of survdiff() on the columns of a CSV file.
suppressPackageStartupMessages(library(survival))
data <- read.csv(commandArgs(TRUE)[1])
timings <- replicate(3, system.time(survdiff(Surv(time, event) ~ group, data))[["elapsed"]])
cat(sprintf('{"milliseconds": %f}\n', 1000 * median(timings)))
