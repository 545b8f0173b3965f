# Quantiles and tails of the normal, t, chi-squared, F and beta distributions at awkward places.
# Packages: stats, with R.
source("shared/fixture.R")

table_of <- function(arguments, value) c(lapply(arguments, I), list(value = I(value)))

tails <- c(1e-12, 1e-6, 1e-4, 0.0005, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.4999, 0.5, 0.5001, 0.75, 0.9, 0.95, 0.975, 0.99, 0.995, 0.9995, 0.9999, 1 - 1e-6)
z <- c(-37, -20, -10, -8, -6, -4, -2.5, -1.96, -1, -0.5, -1e-3, -1e-9, 0, 1e-9, 0.3, 1, 1.959963984540054, 2.5, 4, 6, 8)
t_grid <- expand.grid(p = tails, df = c(1, 2, 3, 4.5, 9, 29, 100, 1000, 1e5))
t_tail_grid <- expand.grid(t = c(0, 1e-4, 0.1, 0.5, 1, 1.96, 2.262157, 3.687, 6, 12.7, 40), df = c(1, 2, 3, 4.5, 9, 29, 100, 1000, 1e5))
chi_grid <- expand.grid(p = tails, df = c(0.5, 1, 2, 3, 9, 10, 17, 29, 100, 1000))
beta_grid <- expand.grid(p = c(1e-6, 0.005, 0.025, 0.05, 0.1, 0.5, 0.9, 0.95, 0.975, 0.995), shape = seq_len(9))
a <- c(0.5, 1, 1, 2, 5, 17, 30, 150, 1)[beta_grid$shape]
b <- c(0.5, 1, 20, 3, 1, 5, 71, 151, 300)[beta_grid$shape]

chi_tail_grid <- expand.grid(x = c(1e-8, 1e-3, 0.1, 0.455, 1, 3.84, 10, 40, 100, 300, 700, 1300), df = c(0.5, 1, 2, 3, 9, 30, 100, 1000))
# Many degrees of freedom, at places counted in standard deviations from the mean.
many_grid <- expand.grid(z = c(-20, -6, -1, -0.1, 0, 0.1, 1, 6, 20), df = c(150, 201, 900, 1800, 2500, 1e4, 1e6))
many_grid$x <- many_grid$df + many_grid$z * sqrt(2 * many_grid$df)
many_grid <- many_grid[many_grid$x > 0, c("x", "df")]
many_p_grid <- expand.grid(p = tails, df = c(150, 201, 1800, 2500, 1e4, 1e6))
f_tail_grid <- expand.grid(f = c(1e-6, 0.1, 0.5, 1, 2.5, 4, 10, 100, 1e4), numerator = c(1, 2, 3.5, 10, 60), denominator = c(1, 2, 4.7, 12, 60, 1000, 1e5))
# qf() itself loses digits in the lower tail: qf(1e-6, 1, 1) is 2.46736e-12, and tan(pi / 2 * 1e-6)^2 = 2.46740e-12.
# So the quantile is where pf() has the probability.
f_quantile <- function(p, numerator, denominator) {
  excess <- function(log_f) pf(exp(log_f), numerator, denominator, lower.tail = p < 0.5, log.p = TRUE) - log(min(p, 1 - p))
  start <- log(qf(p, numerator, denominator))
  exp(uniroot(excess, start + c(-0.5, 0.5), tol = 1e-15)$root)
}
f_grid <- expand.grid(p = c(1e-6, 0.001, 0.025, 0.05, 0.5, 0.95, 0.975, 0.999), numerator = c(1, 2, 5, 11, 60), denominator = c(1, 2, 4.7, 12, 60, 1000))

write_fixture("distributions", "stats", list(
  normalQuantile = table_of(list(p = tails), qnorm(tails)),
  normalCumulative = table_of(list(z = z), pnorm(z)),
  studentQuantile = table_of(as.list(t_grid), qt(t_grid$p, t_grid$df)),
  studentTwoSidedP = table_of(as.list(t_tail_grid), 2 * pt(-t_tail_grid$t, t_tail_grid$df)),
  chiSquaredQuantile = table_of(as.list(chi_grid), qchisq(chi_grid$p, chi_grid$df)),
  chiSquaredUpperTail = table_of(as.list(chi_tail_grid), pchisq(chi_tail_grid$x, chi_tail_grid$df, lower.tail = FALSE)),
  manyChiSquaredQuantile = table_of(as.list(many_p_grid), qchisq(many_p_grid$p, many_p_grid$df)),
  manyChiSquaredUpperTail = table_of(as.list(many_grid), pchisq(many_grid$x, many_grid$df, lower.tail = FALSE)),
  manyChiSquaredCumulative = table_of(as.list(many_grid), pchisq(many_grid$x, many_grid$df)),
  chiSquaredCumulative = table_of(as.list(chi_tail_grid), pchisq(chi_tail_grid$x, chi_tail_grid$df)),
  fUpperTail = table_of(as.list(f_tail_grid), pf(f_tail_grid$f, f_tail_grid$numerator, f_tail_grid$denominator, lower.tail = FALSE)),
  fQuantile = table_of(as.list(f_grid), mapply(f_quantile, f_grid$p, f_grid$numerator, f_grid$denominator)),
  studentCumulative = table_of(as.list(expand.grid(t = c(-40, -6, -2.2, -0.5, 0, 0.5, 2.2, 6), df = c(1, 2.3, 5, 29, 1000))), with(expand.grid(t = c(-40, -6, -2.2, -0.5, 0, 0.5, 2.2, 6), df = c(1, 2.3, 5, 29, 1000)), pt(t, df))),
  betaQuantile = table_of(list(p = beta_grid$p, a = a, b = b), qbeta(beta_grid$p, a, b))
))
