# Times the fading part by lme4: tau by the profile of the full likelihood (optimize), its two limits (uniroot), and the
# restricted fit at it. Once: it is slow.
suppressMessages(library(lme4))
data <- read.csv(commandArgs(TRUE)[1])
longest <- max(data$time)
fit_at <- function(log_tau, restricted) {
  data$fade <- exp(-data$time / exp(log_tau))
  suppressMessages(suppressWarnings(lmer(gain ~ fade + (fade | patient), data, REML = restricted)))
}
elapsed <- system.time({
  profile <- function(log_tau) as.numeric(logLik(fit_at(log_tau, FALSE)))
  range <- log(c(0.2, 3 * longest))
  best <- optimize(profile, range, maximum = TRUE, tol = 2e-4)
  low <- function(log_tau) profile(log_tau) - best$objective + qchisq(0.95, 1) / 2
  for (end in range) if (low(end) < 0) uniroot(low, sort(c(end, best$maximum)), tol = 1e-3)
  fit_at(best$maximum, TRUE)
})[["elapsed"]]
cat(sprintf('{"milliseconds": %.3f}\n', 1000 * elapsed))
