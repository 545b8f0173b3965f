# Samples on which optimisers are slow: distinct intervals, one visit only, exact times among long intervals, ties with
# counts. Plain EM for 20,000 rounds (Turnbull 1976), with the bound on what it still lacks (the Karush-Kuhn-Tucker
# gap), and the log-likelihood of survival::survfit's curve. Packages: survival 3.5-3.
source("shared/fixture.R")
source("shared/turnbull.R")
library(survival)

survfit_log_likelihood <- function(cover, cells, left, right, count) {
  response <- Surv(ifelse(left == 0 & left < right, NA, left), ifelse(is.finite(right), right, NA), type = "interval2")
  fit <- survfit(response ~ 1, weights = count)
  # What survfit leaves after the right end of each cell; the rest of the mass lies beyond the last of them.
  after <- summary(fit, times = pmin(cells$right, 1e6), extend = TRUE)$surv
  if (!is.finite(tail(cells$right, 1))) after[length(after)] <- 0
  sum(count * log(cover %*% -diff(c(1, after))))
}

case <- function(name, left, right, count = rep(1, length(left))) {
  cells <- innermost(left, right)
  cover <- holds(left, right, cells)
  mass <- rep(1 / nrow(cells), nrow(cells))
  for (round in 1:20000) mass <- mass * as.vector(crossprod(cover, count / (cover %*% mass))) / sum(count)
  list(
    name = name, left = I(left), right = I(right), count = I(count), cells = nrow(cells),
    logLikelihood = sum(count * log(cover %*% mass)),
    gap = max(crossprod(cover, count / (cover %*% mass))) / sum(count) - 1,
    survfitLogLikelihood = survfit_log_likelihood(cover, cells, left, right, count)
  )
}

start <- function(seed) set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")

two_visits <- function(n, seed) {
  start(seed)
  time <- rexp(n) / 0.3
  first <- round(runif(n, 0.1, 5), 4)
  second <- first + round(runif(n, 0.1, 5), 4)
  data.frame(left = ifelse(time <= first, 0, ifelse(time <= second, first, second)), right = ifelse(time <= first, first, ifelse(time <= second, second, Inf)))
}

one_visit <- function(n, seed) {
  start(seed)
  visit <- round(runif(n, 0.1, 8), 4)
  seen <- rexp(n) / 0.3 <= visit
  data.frame(left = ifelse(seen, 0, visit), right = ifelse(seen, visit, Inf))
}

half_exact <- function(n, seed) {
  start(seed)
  time <- round(rexp(n) / 0.3, 3) + 0.001
  exact <- runif(n) < 0.5
  data.frame(left = ifelse(exact, time, round(time * runif(n), 3)), right = ifelse(exact, time, ifelse(runif(n) < 0.3, Inf, time + round(runif(n, 0, 3), 3))))
}

tied <- function(n, seed) {
  start(seed)
  left <- sample(0:9, n, replace = TRUE)
  data.frame(left = left, right = ifelse(runif(n) < 0.2, Inf, left + sample(0:5, n, replace = TRUE)), count = sample(1:4, n, replace = TRUE))
}

a <- two_visits(100, 31)
b <- one_visit(120, 32)
c <- half_exact(60, 33)
d <- tied(50, 34)
e <- two_visits(3, 35)

write_fixture("turnbull-awkward", "survival", list(cases = list(
  case("100 with two visits", a$left, a$right),
  case("120 with one visit", b$left, b$right),
  case("60, half of them exact", c$left, c$right),
  case("50 tied, with counts", d$left, d$right, d$count),
  case("3 with two visits", e$left, e$right)
)))
