# Times lme4::lmer with its default control: a level and a rate of each patient, a level of each centre.
suppressMessages(library(lme4))
data <- read.csv(commandArgs(TRUE)[1])
times <- sapply(1:3, function(i) system.time(suppressWarnings(lmer(y ~ time + (time | centre:patient) + (1 | centre), data)))[["elapsed"]])
cat(sprintf('{"milliseconds": %.3f}\n', 1000 * median(times)))
