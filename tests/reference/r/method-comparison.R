# Limits of agreement with their intervals, trend of differences, limits from replicates.
# Packages: none beyond R: t.test, qt with ncp (exact limits), lm, cor.test (Pitman), anova of nested lm (Bradley and
# Blackwood), aov (components). Recovery of variances (Zou 2013) by its formulas.
# Data: Bland and Altman 1986 and 2007, and seeded ones. Differences are second minus first.
source("shared/fixture.R")
set.seed(2007)

limits <- function(name, first, second, share = 0.95, level = 0.95) {
  d <- second - first
  n <- length(d)
  z <- qnorm((1 + share) / 2)
  tail <- (1 - level) / 2
  test <- t.test(second, first, paired = TRUE, conf.level = level)
  factors <- qt(c(tail, 1 - tail), n - 1, z * sqrt(n)) / sqrt(n)
  reach <- qt(1 - tail, n - 1) * sd(d) * sqrt(1 / n + z^2 / (2 * (n - 1)))
  pair <- function(x) list(lower = x[1], upper = x[2])
  list(name = name, first = first, second = second, share = share, level = level, bias = mean(d),
    biasLimits = pair(as.numeric(test$conf.int)), biasP = test$p.value, sd = sd(d),
    sdLimits = pair(sqrt((n - 1) * var(d) / qchisq(c(1 - tail, tail), n - 1))),
    lower = list(estimate = mean(d) - z * sd(d), exact = pair(mean(d) - rev(factors) * sd(d)), approximate = pair(mean(d) - z * sd(d) + c(-1, 1) * reach)),
    upper = list(estimate = mean(d) + z * sd(d), exact = pair(mean(d) + factors * sd(d)), approximate = pair(mean(d) + z * sd(d) + c(-1, 1) * reach)))
}

trend <- function(name, first, second, level = 0.95) {
  d <- second - first
  size <- (first + second) / 2
  line <- function(y) {
    fit <- lm(y ~ size)
    row <- summary(fit)$coefficients[2, ]
    ends <- confint(fit, level = level)[2, ]
    list(intercept = unname(coef(fit)[1]), slope = unname(row[1]), slopeStandardError = unname(row[2]), slopeP = unname(row[4]),
      slopeLimits = list(lower = unname(ends[1]), upper = unname(ends[2])))
  }
  fit <- lm(d ~ size)
  joint <- anova(lm(d ~ 0), fit)
  b <- unname(coef(fit)[2])
  list(name = name, first = first, second = second, level = level, difference = line(d), residualSd = sigma(fit),
    proportionalFactor = (2 + b) / (2 - b), spread = line(abs(residuals(fit))), equalityF = joint$F[2], equalityP = joint[["Pr(>F)"]][2],
    pitmanP = cor.test(first + second, d)$p.value)
}

# parts: weight, mean square, degrees of freedom, one row each
recovered <- function(bias, bias_variance, bias_df, parts, share, level) {
  z <- qnorm((1 + share) / 2)
  tail <- (1 - level) / 2
  size <- parts[, 1] * parts[, 2]
  total <- sum(size)
  low <- max(0, total - sqrt(sum((size * (1 - parts[, 3] / qchisq(1 - tail, parts[, 3])))^2)))
  high <- total + sqrt(sum((size * (parts[, 3] / qchisq(tail, parts[, 3]) - 1))^2))
  half <- qt(1 - tail, bias_df) * sqrt(bias_variance)
  s <- sqrt(total)
  near <- sqrt(half^2 + z^2 * (s - sqrt(low))^2)
  far <- sqrt(half^2 + z^2 * (sqrt(high) - s)^2)
  list(bias = bias, biasLimits = list(lower = bias - half, upper = bias + half), sd = s, sdLimits = list(lower = sqrt(low), upper = sqrt(high)),
    lower = list(estimate = bias - z * s, lower = bias - z * s - far, upper = bias - z * s + near),
    upper = list(estimate = bias + z * s, lower = bias + z * s - near, upper = bias + z * s + far))
}

squares_of <- function(value, subject) as.numeric(summary(aov(value ~ factor(subject)))[[1]][["Mean Sq"]])

varying <- function(name, subject, first, second, weighing, share = 0.95, level = 0.95) {
  d <- second - first
  counts <- as.numeric(table(subject))
  n <- length(counts)
  total <- sum(counts)
  squares <- squares_of(d, subject)
  within <- squares[2]
  if (weighing == "pairs") {
    m <- (total - sum(counts^2) / total) / (n - 1)
    between <- (squares[1] - within) / m
    bias <- mean(d)
    bias_variance <- max(0, between) * sum(counts^2) / total^2 + within / total
    parts <- rbind(c(1 / m, squares[1], n - 1), c(1 - 1 / m, within, total - n))
  } else {
    means <- as.numeric(tapply(d, subject, mean))
    m <- 1 / mean(1 / counts)
    between <- var(means) - within / m
    bias <- mean(means)
    bias_variance <- var(means) / n
    parts <- rbind(c(1, var(means), n - 1), c(1 - 1 / m, within, total - n))
  }
  c(list(name = name, subject = subject, first = first, second = second, weighing = weighing, share = share, level = level,
    betweenVariance = between, withinVariances = I(within)), recovered(bias, bias_variance, n - 1, parts, share, level))
}

constant <- function(name, subject, method, value, share = 0.95, level = 0.95) {
  n <- length(unique(subject))
  one <- function(which) {
    rows <- method == which
    counts <- as.numeric(table(subject[rows]))
    list(means = as.numeric(tapply(value[rows], subject[rows], mean)), within = squares_of(value[rows], subject[rows])[2],
      df = sum(counts) - n, inverse = mean(1 / counts))
  }
  first <- one("first")
  second <- one("second")
  d <- second$means - first$means
  parts <- rbind(c(1, var(d), n - 1), c(1 - first$inverse, first$within, first$df), c(1 - second$inverse, second$within, second$df))
  c(list(name = name, subject = subject, method = method, value = value, share = share, level = level,
    betweenVariance = var(d) - first$inverse * first$within - second$inverse * second$within, withinVariances = c(first$within, second$within)),
    recovered(mean(d), var(d) / n, n - 1, parts, share, level))
}

flow <- published("peak-flow.csv")
large <- flow[flow$meter == "large", ]
mini <- flow[flow$meter == "mini", ]
cardiac <- published("cardiac-ejection.csv")
true_size <- rnorm(40, 72, 4)
unequal <- rep(1:7, c(2, 5, 3, 1, 4, 9, 2))
own <- rnorm(7, 0, 1.2)[unequal]
base <- rnorm(26, 70, 3)
many <- rnorm(300)
skew <- rexp(12)
methods <- c("first", "second")[1 + (seq_along(unequal) %% 2)]
extra <- rep(1:7, 2)
write_fixture("method-comparison", character(0), list(
  limits = list(
    limits("first readings of two meters (Bland and Altman 1986)", mini$first, large$first),
    limits("90 % of differences, level 0.9", mini$first, large$first, 0.9, 0.9),
    limits("three pairs", c(70.1, 72.4, 68), c(70.6, 72.2, 69.1)),
    limits("two pairs", c(70.1, 72.4), c(70.6, 72.2)),
    limits("forty pairs, biased", true_size + rnorm(40), true_size + 2 + rnorm(40, 0, 1.5)),
    limits("skew differences", skew, 2 * skew + rnorm(12, 0, 0.1)),
    limits("three hundred pairs", many, many + rnorm(300, 0, 0.2), level = 0.99)
  ),
  trends = list(
    trend("first readings of two meters (Bland and Altman 1986)", mini$first, large$first),
    trend("second method magnifies by a tenth", true_size + rnorm(40, 0, 0.5), 1.1 * true_size + rnorm(40, 0, 0.5)),
    trend("spread grows with size, level 0.9", skew, skew * exp(rnorm(12, 0, 0.3)), 0.9),
    trend("three pairs", c(70.1, 72.4, 68), c(70.6, 72.2, 69.1))
  ),
  varying = list(
    varying("cardiac ejection (Bland and Altman 2007), by pairs", cardiac$subject, cardiac$impedance, cardiac$ventriculography, "pairs"),
    varying("cardiac ejection, by subjects", cardiac$subject, cardiac$impedance, cardiac$ventriculography, "subjects"),
    varying("very unequal numbers, by pairs, level 0.9", unequal, base, base + 1 + own + rnorm(26, 0, 0.5), "pairs", 0.95, 0.9),
    varying("very unequal numbers, by subjects", unequal, base, base + 1 + own + rnorm(26, 0, 0.5), "subjects"),
    varying("subjects who do not differ, by pairs", unequal, base, base + rnorm(26, 0, 0.5), "pairs")
  ),
  constant = list(
    constant("cardiac ejection (Bland and Altman 2007)", rep(cardiac$subject, 2), rep(c("first", "second"), each = 60), c(cardiac$impedance, cardiac$ventriculography)),
    constant("unequal numbers, not paired", c(unequal, extra), c(methods, rep(c("first", "second"), each = 7)), c(base, rnorm(14, 70, 3)), 0.9, 0.99)
  )
))
