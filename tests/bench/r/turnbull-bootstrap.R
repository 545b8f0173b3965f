# Milliseconds of 20 bootstrap curves by survfit for interval-censored times.
suppressMessages(library(survival))
data <- read.csv(commandArgs(TRUE)[1])
set.seed(1)
resamples <- replicate(20, data[sample(nrow(data), replace = TRUE), ], simplify = FALSE)
one <- function(data) {
  response <- with(data, Surv(ifelse(left == 0, NA, left), ifelse(right >= 1e9, NA, right), type = "interval2"))
  summary(survfit(response ~ 1), times = c(1, 2, 5), extend = TRUE)$surv
}
elapsed <- system.time(for (resample in resamples) one(resample))[["elapsed"]]
cat(sprintf("{\"milliseconds\": %f}", 1000 * elapsed))
