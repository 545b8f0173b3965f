# Median milliseconds of survfit() with log-log limits on the columns of a CSV file.
suppressPackageStartupMessages(library(survival))
data <- read.csv(commandArgs(TRUE)[1])
timings <- replicate(3, system.time(survfit(Surv(time, event) ~ 1, data, conf.type = "log-log"))[["elapsed"]])
cat(sprintf('{"milliseconds": %f}\n', 1000 * median(timings)))
