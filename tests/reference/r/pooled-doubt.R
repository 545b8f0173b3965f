# How much the error of a growth table that all centres of a pool share widens pooled survival, worked from docs/methods.md
# ("Pooling over centres") by resampling of its own: in every resample patients are drawn with replacement within the
# pool and the printed means anew, for all centres at once. Curves by the self-consistency equations of Turnbull (1976).
# The mean over centres from values, variances and shifts under draws: metafor, with the variance of the weighted mean of
# the shifts put in by hand.
# Packages: metafor. All data invented, drawn with a fixed seed.
suppressMessages(library(metafor))
source("shared/fixture.R")
source("shared/turnbull.R")

set.seed(20261127)
AGES <- 9:20
SIZE <- list(female = 100 + 2.6 * (AGES - 10) - 0.12 * (AGES - 10)^2, male = 102 + 2.9 * (AGES - 10) - 0.10 * (AGES - 10)^2)
SD <- 4.5
CHILDREN <- 90
FLOOR <- 2
RESAMPLES <- 800
LEVEL <- 0.95
YEARS <- c(1, 2, 4)
CENTRES <- c(60, 35, 85)
YEAR <- 365.25

# Age in months and days from the end of active treatment; visits about yearly, on whole days.
patients <- do.call(c, lapply(seq_along(CENTRES), function(centre) lapply(seq_len(CENTRES[centre]), function(i) {
  sex <- if (i %% 2 == 0) "female" else "male"
  months <- 12 * sample(11:13, 1)
  loss <- rweibull(1, 1.3, c(5, 4, 6)[centre])
  later <- (1:6)[runif(6) > 0.2]
  days <- c(-365, 0, round(YEAR * if (length(later) == 0) 1 else later))
  gain <- rnorm(1, 4, 0.8)
  kept <- ifelse(days < 0, 0, ifelse(days / YEAR < loss, gain, 0.25 * gain))
  size <- approx(AGES, SIZE[[sex]], months / 12 + days / YEAR)$y
  list(centre = centre, sex = sex, ageMonths = months, days = I(days), values = I(round(size + rnorm(1, 0, 4) + kept + rnorm(length(days), 0, 0.5), 2)))
})))
centre_of <- sapply(patients, function(p) p$centre)

# (left, right] of each patient under means, in days; NA where the gain at the end of treatment lies below the floor.
losses <- function(means) {
  do.call(rbind, lapply(patients, function(p) {
    grown <- approx(AGES, means[[p$sex]], p$ageMonths / 12 + p$days / YEAR)$y
    gain <- (p$values - p$values[1]) - (grown - grown[1])
    if (gain[2] < FLOOR) return(c(NA, NA))
    at <- p$days[-(1:2)]
    below <- which(gain[-(1:2)] < FLOOR)
    if (length(below) == 0) return(c(max(at), Inf))
    c(if (below[1] == 1) 0 else at[below[1] - 1], at[below[1]])
  }))
}

survival <- function(times, count, settled) {
  keep <- !is.na(times[, 1]) & count > 0
  alike <- aggregate(count[keep], list(left = times[keep, 1], right = times[keep, 2]), sum)
  cells <- innermost(alike$left, alike$right)
  cover <- holds(alike$left, alike$right, cells)
  mass <- rep(1 / nrow(cells), nrow(cells))
  for (round in 1:20000) {
    new <- mass * as.vector(crossprod(cover, alike$x / as.vector(cover %*% mass))) / sum(alike$x)
    moved <- max(abs(new - mass))
    mass <- new
    if (moved < settled) break
  }
  sapply(YEARS * YEAR, function(day) {
    passed <- pmin(1, pmax(0, (day - cells$left) / (cells$right - cells$left)))
    1 - sum(mass * ifelse(is.finite(cells$right), passed, 0))
  })
}

as_printed <- losses(SIZE)
estimate <- survival(as_printed, rep(1, length(patients)), 1e-10)
spread <- function(error) {
  curves <- replicate(RESAMPLES, {
    means <- lapply(SIZE, function(mean) mean + error * rnorm(length(mean)))
    drawn <- tabulate(sample(length(patients), replace = TRUE), length(patients))
    survival(if (error == 0) as_printed else losses(means), drawn, 1e-7)
  })
  apply(curves, 1, var)
}
limits <- function(variance) {
  size <- pmin(sum(!is.na(as_printed[, 1])), estimate * (1 - estimate) / variance)
  tail <- (1 - LEVEL) / 2
  list(
    lower = I(qbeta(tail, estimate * size, (1 - estimate) * size + 1)),
    upper = I(qbeta(1 - tail, estimate * size + 1, (1 - estimate) * size))
  )
}

# Mean over centres of x = log(-log S): values, variances that are the centres' own, and shifts under shared draws.
mean_over <- function(values, variances, shifts) {
  fit <- rma(values, variances, method = "REML", test = "adhoc", control = list(threshold = 1e-14, maxiter = 10000))
  weights <- unname(weights(fit)) / 100
  common <- sd(as.vector(shifts %*% weights))
  se <- sqrt(fit$se^2 + common^2)
  x <- as.numeric(fit$b) + c(1, -1) * qt(1 - (1 - LEVEL) / 2, fit$k - 1) * se
  alike <- sum(weights * apply(shifts, 2, sd))
  list(values = I(values), variances = I(variances), shifts = lapply(seq_len(ncol(shifts)), function(i) I(shifts[, i])),
       estimate = exp(-exp(as.numeric(fit$b))), lower = exp(-exp(x[1])), upper = exp(-exp(x[2])), commonSd = common, alike = alike)
}
draws <- matrix(rnorm(40 * 6), 40) %*% matrix(runif(36, -0.1, 0.25), 6)
pools <- list(
  mean_over(round(rnorm(6, -0.4, 0.35), 4), round(runif(6, 0.02, 0.09), 4), round(draws, 4)),
  mean_over(round(rnorm(3, 0.2, 0.1), 4), round(runif(3, 0.05, 0.2), 4), round(draws[, 1:3] + draws[, 4], 4))
)

write_fixture("pooled-doubt", "metafor", list(
  ages = I(AGES), means = lapply(SIZE, I), sd = SD, children = CHILDREN, floor = FLOOR, level = LEVEL,
  resamples = RESAMPLES, patients = patients, years = I(YEARS), inRiskSet = sum(!is.na(as_printed[, 1])),
  estimate = I(estimate), known = limits(spread(0)), drawn = limits(spread(SD / sqrt(CHILDREN))), pools = pools
))
