# Noncentral t: probabilities and quantiles.
# Packages: none beyond R. `body`: pt() and qt() with ncp, whose error is absolute (1e-12), so only probabilities above
# 1e-3 are taken from them. `tails`: the mean of pnorm(t s - ncp) over s = sqrt(chi-squared / df) by integrate(), in
# pieces about the highest place of the integrand, which keeps the digits of probabilities down to 1e-200.
source("shared/fixture.R")

tail_by_integral <- function(t, df, ncp) {
  log_integrand <- function(s) pnorm(t * s - ncp, log.p = TRUE) + dchisq(df * s^2, df, log = TRUE) + log(2 * df * s)
  top <- optimize(log_integrand, c(1e-8, 1 + 40 / sqrt(df)), maximum = TRUE, tol = 1e-10)
  centre <- top$maximum
  width <- 1 / sqrt(df + t^2)
  cuts <- centre + width * c(-40, -20, -10, -6, -3, -1, 0, 1, 3, 6, 10, 20, 40)
  cuts <- unique(c(0, cuts[cuts > 0], max(cuts) + 40 / sqrt(df)))
  scaled <- function(s) exp(log_integrand(s) - top$objective)
  pieces <- mapply(function(a, b) integrate(scaled, a, b, rel.tol = 1e-12, abs.tol = 0, subdivisions = 2000, stop.on.error = FALSE)$value, head(cuts, -1), tail(cuts, -1))
  exp(top$objective) * sum(pieces)
}

body <- subset(expand.grid(t = c(-3, -0.5, 0, 0.7, 2, 5, 12, 30), df = c(1, 2.5, 9, 29, 200), ncp = c(-4, -1, 0, 0.3, 2, 6.2, 11, 30)), TRUE)
body$lower <- suppressWarnings(pt(body$t, body$df, body$ncp))
body <- subset(body, lower > 1e-3 & lower < 1 - 1e-3)
body$upper <- 1 - body$lower

tails <- list(
  c(-2, 9, 5), c(-5, 3, 10), c(0.2, 30, 8), c(1, 99, 19.6), c(-8, 4, -1), c(3, 9, 12), c(25, 400, 40), c(0.5, 1, 20), c(-1, 0.7, 3)
)
tails <- lapply(tails, function(x) list(t = x[1], df = x[2], ncp = x[3], lower = tail_by_integral(x[1], x[2], x[3])))

places <- expand.grid(p = c(0.005, 0.025, 0.3, 0.5, 0.8, 0.975, 0.995), df = c(1, 2, 4, 9, 29, 99, 349), share = c(0.8, 0.95, 0.99))
# As in the limits of limits of agreement: ncp = z sqrt(n).
places$ncp <- qnorm((1 + places$share) / 2) * sqrt(places$df + 1)
places <- subset(places, ncp < 37)
places$t <- suppressWarnings(mapply(qt, places$p, places$df, places$ncp))

rows <- function(data) lapply(seq_len(nrow(data)), function(i) as.list(data[i, ]))
write_fixture("noncentral-t", character(0), list(body = rows(body), tails = tails, quantiles = rows(places[c("p", "df", "ncp", "t")])))
