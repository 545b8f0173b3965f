# Expected growth from an imported table, worked from docs/methods.md ("From an imported table"): expected changes with
# the standard errors that the table's means bring, velocities, the child's own deviation, tables by stage of maturity,
# and what all that makes of a group's gain, retained share, lasting and passing gain. How a result hangs on the printed
# means is found by moving each printed mean in turn, never by a formula for weights.
# Packages: lme4 (variance components of the growth clock). All data invented; children drawn with a fixed seed.
source("shared/fixture.R")
suppressMessages(library(lme4))

PEAK <- c(female = 12.6, male = 13.7)
PLACE <- c(CS1 = -2, CS2 = -1, CS3 = -0.5, CS4 = 1.5)

# Rows that have a place, girls first, youngest first; printed means are what the table holds.
placed <- function(table) {
  rows <- table$rows
  rows$at <- if (all(is.na(rows$age))) PEAK[rows$sex] + PLACE[rows$stage] else rows$age
  rows <- rows[!is.na(rows$at), ]
  rows[order(rows$sex, rows$at), ]
}

# Natural size at an age: straight lines between ages, and along the outer lines beyond them.
size <- function(table, printed, sex, age) {
  rows <- placed(table)
  own <- rows$sex == sex
  at <- rows$at[own]
  mean <- table$factor * printed[own]
  last <- length(at)
  inside <- approx(at, mean, age)$y
  below <- mean[1] + (age - at[1]) * (mean[2] - mean[1]) / (at[2] - at[1])
  above <- mean[last] + (age - at[last]) * (mean[last] - mean[last - 1]) / (at[last] - at[last - 1])
  ifelse(age < at[1], below, ifelse(age > at[last], above, inside))
}

# Velocity: each yearly rate holds midway between its two ages; joined by straight lines, level beyond.
velocity <- function(table, printed, sex, age) {
  rows <- placed(table)
  own <- rows$sex == sex
  at <- rows$at[own]
  rate <- diff(table$factor * printed[own]) / diff(at)
  if (length(rate) == 1) return(rep(rate, length(age)))
  approx((at[-1] + at[-length(at)]) / 2, rate, age, rule = 2)$y
}

# How a quantity, a function of the printed means, moves with each of them; it is linear, so one step is exact.
movement <- function(table, quantity) {
  printed <- placed(table)$mean
  rbind(sapply(seq_along(printed), function(i) {
    moved <- printed
    moved[i] <- moved[i] + 1
    quantity(moved) - quantity(printed)
  }))
}

# Covariance from the standard errors of the printed means, independent of each other.
from_means <- function(table, left, right = left) {
  rows <- placed(table)
  left %*% (rows$sd^2 / rows$n * t(right))
}

change_case <- function(table, sex, from, to) {
  change <- function(printed) size(table, printed, sex, to) - size(table, printed, sex, from)
  list(sex = sex, from = from, to = to, change = change(placed(table)$mean),
    errorOfMeans = sqrt(as.numeric(from_means(table, movement(table, change)))),
    ownSd = table$ownRateSd * abs(to - from))
}
speed_case <- function(table, sex, age) {
  speed <- function(printed) velocity(table, printed, sex, age)
  list(sex = sex, age = age, velocity = speed(placed(table)$mean), errorOfMeans = sqrt(as.numeric(from_means(table, movement(table, speed)))))
}
# Of two changes of children of one sex, or of both: what they share is the means.
shared_case <- function(table, one, other) {
  change <- function(which) function(printed) size(table, printed, which$sex, which$to) - size(table, printed, which$sex, which$from)
  list(one = one, other = other, covariance = as.numeric(from_means(table, movement(table, change(one)), movement(table, change(other)))))
}
span <- function(sex, from, to) list(sex = sex, from = from, to = to)
as_rows <- function(rows) lapply(seq_len(nrow(rows)), function(i) {
  list(sex = rows$sex[i], ageYears = rows$age[i], stage = rows$stage[i], mean = rows$mean[i], sd = rows$sd[i], n = rows$n[i])
})

by_age <- list(name = "By age", factor = 0.92, ownRateSd = 0.35, rows = data.frame(
  sex = rep(c("female", "male"), c(6, 7)),
  age = c(8, 9.5, 11, 12, 14, 17, 8, 10, 11, 12.5, 14, 16, 18), stage = NA_character_,
  mean = c(108.1, 112.9, 117.4, 121.3, 126.2, 128.0, 109.6, 115.3, 118.0, 122.6, 129.1, 135.0, 137.2),
  sd = c(4.4, 4.6, 5.1, 5.0, 5.6, 5.5, 4.5, 4.9, 5.0, 5.6, 6.1, 6.0, 6.2),
  n = c(31, 44, 52, 60, 38, 25, 29, 40, 47, 55, 41, 33, 20)))
surer <- by_age
surer$rows$n <- 80 * surer$rows$n
by_stage <- list(name = "By stage", factor = 1, ownRateSd = 0.4, rows = data.frame(
  sex = rep(c("female", "male"), each = 6), age = NA_real_, stage = rep(paste0("CS", 1:6), 2),
  mean = c(103.2, 105.4, 107.1, 111.0, 112.4, 112.9, 105.8, 108.3, 110.0, 115.9, 118.2, 119.6),
  sd = c(4.1, 4.4, 4.3, 4.8, 5.0, 4.9, 4.6, 4.5, 4.9, 5.3, 5.4, 5.6), n = c(22, 30, 34, 28, 19, 15, 25, 27, 31, 30, 21, 16)))

described <- function(table, changes, speeds, shared) {
  list(name = table$name, filmFactor = table$factor, ownRateSd = table$ownRateSd, rows = as_rows(table$rows),
    changes = lapply(changes, function(one) change_case(table, one$sex, one$from, one$to)),
    velocities = lapply(speeds, function(one) speed_case(table, one[[1]], one[[2]])),
    shared = lapply(shared, function(two) shared_case(table, two[[1]], two[[2]])))
}

# A group: at the start, at the end of treatment and up to four times later; ages only. The child's own rate strays.
group <- function() {
  set.seed(411, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  do.call(rbind, lapply(1:36, function(i) {
    sex <- c("female", "male")[1 + i %% 2]
    start <- round(runif(1, 10.5, 13), 2)
    ages <- round(c(start, start + 1 + (0:c(2, 3, 4)[1 + i %% 3]) * 1.02 + c(0, rep(0.05, 4))[1:(c(3, 4, 5)[1 + i %% 3])]), 2)
    ages <- ages[ages <= 18.5]
    gain <- c(0, rep(2.4 + 0.6 * rnorm(1), length(ages) - 1) + c(0, -0.15 * seq_len(length(ages) - 2)))
    own <- 0.35 * rnorm(1) * (ages - 12) + 4 * rnorm(1)
    value <- round(size(by_age, placed(by_age)$mean, sex, ages) + gain + own + 0.8 * rnorm(length(ages)), 1)
    data.frame(code = sprintf("I%02d", i), sex = sex, age = ages, value = value)
  }))
}
children <- group()
by_child <- split(children, children$code)
printed_means <- placed(by_age)$mean
ends <- sapply(by_child, function(one) one$age[2])
window <- function(one, year) {
  years <- one$age - one$age[2]
  seen <- which(seq_along(years) > 2 & years > year - 0.5 & years <= year + 0.5)
  seen[which.min(abs(years[seen] - year))]
}
gain_at <- function(one, visit) function(printed) {
  g <- size(by_age, printed, one$sex[1], one$age)
  one$value[visit] - one$value[1] - (g[visit] - g[1])
}
group_gain <- local({
  gains <- sapply(by_child, function(one) gain_at(one, 2)(printed_means))
  mean_gain <- function(printed) mean(sapply(by_child, function(one) gain_at(one, 2)(printed)))
  variance <- var(gains) / length(gains) + as.numeric(from_means(by_age, movement(by_age, mean_gain)))
  q <- qt(0.975, length(gains) - 1)
  list(n = length(gains), mean = mean(gains), lower = mean(gains) - q * sqrt(variance), upper = mean(gains) + q * sqrt(variance))
})
kept_share <- function(year) {
  seen <- by_child[sapply(by_child, function(one) length(window(one, year)) == 1)]
  first <- function(printed) mean(sapply(seen, function(one) gain_at(one, 2)(printed)))
  later <- function(printed) mean(sapply(seen, function(one) gain_at(one, window(one, year))(printed)))
  a0 <- sapply(seen, function(one) gain_at(one, 2)(printed_means))
  ak <- sapply(seen, function(one) gain_at(one, window(one, year))(printed_means))
  n <- length(seen)
  moves <- rbind(movement(by_age, first), movement(by_age, later))
  V <- cov(cbind(a0, ak)) / n + from_means(by_age, moves)
  q <- qt(0.975, n - 1)
  # Fieller: where (later - ratio first)^2 is at most q^2 times its variance.
  A <- mean(a0)^2 - q^2 * V[1, 1]
  B <- mean(a0) * mean(ak) - q^2 * V[1, 2]
  C <- mean(ak)^2 - q^2 * V[2, 2]
  stopifnot(A > 0, B^2 > A * C)
  list(year = year, n = n, share = mean(ak) / mean(a0), lower = (B - sqrt(B^2 - A * C)) / A, upper = (B + sqrt(B^2 - A * C)) / A)
}

# T and S: lme4 for the variances, generalised least squares, and the reach of the means: a gain as modelled moves by
# dA - S dx where a printed mean moves, and the estimates follow the gains.
# Reliability of the velocity: of x' P x, by which S is told, what the velocity's error alone does not make.
growth_clock <- function(table) {
  visits <- do.call(rbind, lapply(by_child, function(one) {
    data.frame(code = one$code[-1], sex = one$sex[-1], age = one$age[-1], visit = seq_len(nrow(one))[-1])
  }))
  gains <- function(printed) sapply(seq_len(nrow(visits)), function(k) gain_at(by_child[[visits$code[k]]], visits$visit[k])(printed))
  speeds <- function(printed) sapply(seq_len(nrow(visits)), function(k) velocity(table, printed, visits$sex[k], visits$age[k]))
  data <- data.frame(A = gains(printed_means), x = speeds(printed_means), code = visits$code)
  control <- lmerControl(optimizer = "Nelder_Mead", optCtrl = list(FtolAbs = 1e-14, FtolRel = 1e-15, XtolRel = 1e-12, maxfun = 1e5), check.conv.singular = "ignore")
  fit <- lmer(A ~ x + (x | code), data, control = control)
  Z <- getME(fit, "Z")
  V <- as.matrix(sigma(fit)^2 * (Z %*% getME(fit, "Lambda") %*% getME(fit, "Lambdat") %*% t(Z) + diag(nrow(data))))
  X <- cbind(1, data$x)
  information <- t(X) %*% solve(V, X)
  K <- solve(information, t(solve(V, X)))
  beta <- as.vector(K %*% data$A)
  step <- function(quantity) sapply(seq_along(printed_means), function(i) {
    moved <- printed_means
    moved[i] <- moved[i] + 1
    quantity(moved) - quantity(printed_means)
  })
  P <- solve(V) - solve(V, rep(1, nrow(V))) %*% t(solve(V, rep(1, nrow(V)))) / sum(solve(V))
  D <- step(speeds)
  rows <- placed(table)
  by_error <- sum(diag((t(D) %*% P %*% D) %*% diag(rows$sd^2 / rows$n)))
  moves <- K %*% (step(gains) - beta[2] * D)
  total <- solve(information) + from_means(table, moves)
  list(lasting = beta[1], passing = beta[2], lastingError = sqrt(total[1, 1]), passingError = sqrt(total[2, 2]),
    lastingErrorWithoutTable = sqrt(solve(information)[1, 1]), singular = isSingular(fit),
    velocityReliability = 1 - by_error / as.numeric(t(data$x) %*% P %*% data$x))
}

write_fixture("imported-tables", "lme4", list(
  tables = list(
    described(by_age,
      list(span("female", 11, 12), span("male", 10, 11.2), span("male", 12.5, 17.3), span("female", 7.4, 9), span("female", 13, 17.8), span("male", 15, 18.9)),
      list(list("female", 8.2), list("female", 10.4), list("male", 12.5), list("male", 13.9), list("male", 18.6)),
      list(list(span("male", 11, 14), span("male", 12, 16)), list(span("male", 9, 11), span("female", 9, 11)))),
    described(by_stage,
      list(span("female", 11, 12), span("male", 12, 15), span("male", 11.7, 13.2), span("female", 10, 14.9)),
      list(list("female", 12.6), list("male", 12)),
      list(list(span("female", 11, 13), span("female", 11, 12))))
  ),
  children = lapply(by_child, function(one) list(code = one$code[1], sex = one$sex[1], ages = one$age, values = one$value)) |> unname(),
  groupGain = group_gain, kept = lapply(c(1, 2), kept_share), # The table itself, and one of the same means and SDs from eighty times as many children.
  growthClock = growth_clock(surer), reliabilityOfTable = growth_clock(by_age)$velocityReliability, timesAsMany = 80
))
