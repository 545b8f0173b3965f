# Median milliseconds of coxph.fit(): the bare iteration, without formula, model frame and concordance.
suppressPackageStartupMessages(library(survival))
data <- read.csv(commandArgs(TRUE)[1])
x <- as.matrix(data[c("x1", "x2", "x3")])
y <- Surv(data$time, data$event)
fit <- function() {
  coxph.fit(x, y, NULL, NULL, NULL, coxph.control(), NULL, "efron", as.character(seq_len(nrow(x))), resid = FALSE)
}
timings <- replicate(3, system.time(fit())[["elapsed"]])
cat(sprintf('{"milliseconds": %f}\n', 1000 * median(timings)))
