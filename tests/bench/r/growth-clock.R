# Times lmerTest::lmer on the growth clock: T and S with Satterthwaite's degrees of freedom.
suppressMessages(library(lmerTest))
data <- read.csv(commandArgs(TRUE)[1])
times <- sapply(1:3, function(i) system.time(suppressWarnings({
  fit <- lmer(gain ~ velocity + (velocity | patient), data)
  coef(summary(fit))
}))[["elapsed"]])
cat(sprintf('{"milliseconds": %.3f}\n', 1000 * median(times)))
