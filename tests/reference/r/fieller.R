# Fieller's confidence set of a ratio: all r with (y - r x)^2 <= q^2 var(y - r x). Closed form in plain R, each limit
# checked inside this script by putting it back into the inequality.
# Packages: none beyond R. Data: constructed to give each of the three kinds of set, and paired means with a t quantile.
source("shared/fixture.R")

fieller <- function(y, x, var_y, var_x, cov, q) {
  # a r^2 - 2 b r + c <= 0
  a <- x^2 - q^2 * var_x
  b <- x * y - q^2 * cov
  c <- y^2 - q^2 * var_y
  root <- b^2 - a * c
  excess <- function(r) (y - r * x)^2 - q^2 * (var_y - 2 * r * cov + r^2 * var_x)
  if (root < 0) return(list(kind = "whole-line"))
  limits <- sort((b + c(-1, 1) * sqrt(root)) / a)
  if (max(abs(sapply(limits, excess))) > 1e-9 * (x^2 + y^2)) stop("a limit does not solve the inequality")
  inside <- excess(mean(limits)) < 0
  if (inside != (a > 0)) stop("the set has the wrong side")
  list(kind = if (inside) "bounded" else "unbounded", lower = limits[1], upper = limits[2])
}

case <- function(name, y, x, var_y, var_x, cov, q) {
  c(list(name = name, numerator = y, denominator = x, numeratorVariance = var_y, denominatorVariance = var_x,
    covariance = cov, quantile = q), set = list(fieller(y, x, var_y, var_x, cov, q)))
}

# Ratio of the means of paired gains: var and cov of means, t quantile on n - 1 degrees of freedom.
paired <- function(name, now, then, level) {
  n <- length(now)
  q <- qt((1 + level) / 2, n - 1)
  list(name = name, now = now, then = then, level = level, ratio = mean(now) / mean(then),
    set = fieller(mean(now), mean(then), var(now) / n, var(then) / n, cov(now, then) / n, q))
}

normal <- qnorm(0.975)
error <- 1.2^2
write_fixture("fieller", character(0), list(
  cases = list(
    # One patient: both gains share the start value, so variances 2 s^2 and covariance s^2.
    case("one patient, large gain", 5.1, 6.0, 2 * 0.6^2, 2 * 0.6^2, 0.6^2, normal),
    case("one patient, gain just measurable", 2.0, 3.5, 2 * error, 2 * error, error, normal),
    case("one patient, gain not measurable", 1.0, 2.5, 2 * error, 2 * error, error, normal),
    case("one patient, nothing known", 0.2, 0.4, 2 * error, 2 * error, error, normal),
    case("nothing retained", 0, 5, 0.4, 0.4, 0.2, normal),
    case("negative ratio", -1.5, 4, 0.5, 0.3, 0.1, normal),
    case("negative denominator", 3, -4, 0.5, 0.3, -0.1, normal),
    case("independent", 10, 12, 1, 1.5, 0, 2.2),
    case("denominator known exactly", 3, 4, 0.25, 0, 0, normal),
    case("strong correlation", 4.5, 5, 0.9, 1, 0.94, normal),
    case("unbounded, ratio far from nought", 6, 1, 0.4, 0.5, 0.05, normal)
  ),
  pairedMeans = list(
    paired("twelve pairs", c(4.1, 3.2, 5.0, 2.7, 3.9, 4.4, 1.8, 3.1, 4.9, 2.2, 3.6, 4.0), c(5.0, 4.4, 5.6, 3.9, 4.8, 4.7, 3.5, 4.1, 5.2, 3.0, 4.9, 4.5), 0.95),
    paired("two pairs", c(3.1, 4.0), c(4.2, 5.2), 0.95),
    paired("five pairs, level 0.8", c(0.5, -0.2, 1.4, 2.0, 0.1), c(1.0, 0.4, 2.2, 1.9, 0.6), 0.8),
    paired("three pairs, hardly any gain", c(0.5, -0.2, 1.4), c(1.0, -0.4, 2.2), 0.95)
  )
))
