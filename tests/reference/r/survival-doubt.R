# How much the error of a growth table widens the limits of survival, worked from docs/methods.md ("Survival of the gain")
# by resampling of its own: in every resample patients are drawn with replacement and the printed means anew. Visits lie at
# whole ages, so every loss falls between whole years; curve by the self-consistency equations of Turnbull (1976).
# Packages: none beyond base R. All data invented, drawn with a fixed seed.
source("shared/fixture.R")
source("shared/turnbull.R")

set.seed(20261126)
AGES <- 10:19
SIZE <- list(female = 100 + 2.6 * (AGES - 10) - 0.12 * (AGES - 10)^2, male = 102 + 2.9 * (AGES - 10) - 0.10 * (AGES - 10)^2)
SD <- 4.5
CHILDREN <- 60
FLOOR <- 2
RESAMPLES <- 2000
LEVEL <- 0.95
YEARS <- 1:5

patients <- lapply(seq_len(80), function(i) {
  sex <- if (i %% 2 == 0) "female" else "male"
  start <- sample(10:12, 1)
  loss <- rweibull(1, 1.3, 5)
  later <- (2:7)[runif(6) > 0.2]
  years <- c(0, 1, if (length(later) == 0) 2 else later)
  gain <- rnorm(1, 4, 0.8)
  kept <- ifelse(years == 0, 0, ifelse(years - 1 < loss, gain, 0.25 * gain))
  value <- SIZE[[sex]][start + years - 9] + rnorm(1, 0, 4) + kept + rnorm(length(years), 0, 0.5)
  list(code = sprintf("P%03d", i), sex = sex, ages = I(start + years), values = I(round(value, 2)))
})

# (left, right] of each patient under means; NULL where the gain at the end of treatment lies below the floor.
losses <- function(means) {
  rows <- lapply(patients, function(p) {
    grown <- means[[p$sex]][p$ages - 9]
    gain <- (p$values - p$values[1]) - (grown - grown[1])
    if (gain[2] < FLOOR) return(c(NA, NA))
    at <- p$ages[-(1:2)] - p$ages[2]
    below <- which(gain[-(1:2)] < FLOOR)
    if (length(below) == 0) return(c(max(at), Inf))
    c(if (below[1] == 1) 0 else at[below[1] - 1], at[below[1]])
  })
  do.call(rbind, rows)
}

# Turnbull's masses in (0,1], (1,2], ... and beyond, by self-consistency; read at whole years, where the curve is defined
# up to the masses that no visit tells apart: these are spread evenly, as straight lines do.
survival <- function(times, count) {
  keep <- !is.na(times[, 1]) & count > 0
  alike <- aggregate(count[keep], list(left = times[keep, 1], right = times[keep, 2]), sum)
  cells <- innermost(alike$left, alike$right)
  cover <- holds(alike$left, alike$right, cells)
  mass <- rep(1 / nrow(cells), nrow(cells))
  for (round in 1:20000) {
    each <- cover * rep(mass, each = nrow(alike))
    new <- colSums(alike$x * each / rowSums(each)) / sum(alike$x)
    moved <- max(abs(new - mass))
    mass <- new
    if (moved < 1e-9) break
  }
  sapply(YEARS, function(year) {
    passed <- pmin(1, pmax(0, (year - cells$left) / (cells$right - cells$left)))
    1 - sum(mass * ifelse(is.finite(cells$right), passed, 0))
  })
}

as_printed <- losses(SIZE)
estimate <- survival(as_printed, rep(1, length(patients)))
spread <- function(error) {
  curves <- replicate(RESAMPLES, {
    means <- lapply(SIZE, function(mean) mean + error * rnorm(length(mean)))
    survival(if (error == 0) as_printed else losses(means), tabulate(sample(length(patients), replace = TRUE), length(patients)))
  })
  apply(curves, 1, var)
}
limits <- function(variance) {
  size <- pmin(sum(!is.na(as_printed[, 1])), estimate * (1 - estimate) / variance)
  tail <- (1 - LEVEL) / 2
  list(
    variance = I(variance),
    lower = I(qbeta(tail, estimate * size, (1 - estimate) * size + 1)),
    upper = I(qbeta(1 - tail, estimate * size + 1, (1 - estimate) * size))
  )
}

write_fixture("survival-doubt", character(0), list(
  ages = I(AGES), means = lapply(SIZE, I), sd = SD, children = CHILDREN, floor = FLOOR, level = LEVEL,
  resamples = RESAMPLES, patients = patients, years = I(YEARS), inRiskSet = sum(!is.na(as_printed[, 1])),
  estimate = I(estimate), known = limits(spread(0)), drawn = limits(spread(SD / sqrt(CHILDREN)))
))
