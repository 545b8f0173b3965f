# Ratio of means: delta limits, Fieller's set with patients as clusters and of two groups, bootstrap limits.
# Packages: boot (boot.ci: percentile and bca on given replicates and influence values). Data: invented gains; the draws
# are those of Longhold's random stream, kept in data/bootstrap-draws, so that both take their limits from the same
# samples. Acceleration about the mean of the leave-one-out values (Efron and Tibshirani 1993, 14.15), where boot's own
# default takes them about the estimate. Where replicates equal the estimate (whole numbers), half of them count as
# below it; boot counts none, so there the formula stands in plain R with boot's quantiles.
source("shared/fixture.R")
suppressMessages(library(boot))

fieller <- function(input, q) {
  a <- input$x^2 - q^2 * input$vx
  b <- input$x * input$y - q^2 * input$cxy
  c <- input$y^2 - q^2 * input$vy
  root <- b^2 - a * c
  if (root < 0) return(list(kind = "whole-line"))
  ends <- sort((b + c(-1, 1) * sqrt(root)) / a)
  list(kind = if (a > 0) "bounded" else "unbounded", lower = ends[1], upper = ends[2])
}

intervals <- function(input, df, level) {
  q <- qt((1 + level) / 2, df)
  ratio <- input$y / input$x
  error <- sqrt(input$vy - 2 * ratio * input$cxy + ratio^2 * input$vx) / abs(input$x)
  list(ratio = ratio, standardError = error, df = df, denominatorDistance = abs(input$x) / sqrt(input$vx), fieller = fieller(input, q),
    delta = list(lower = ratio - q * error, upper = ratio + q * error),
    logDelta = if (ratio > 0) list(lower = ratio * exp(-q * error / ratio), upper = ratio * exp(q * error / ratio)) else NA)
}

totals <- function(numerator, denominator, patient) {
  order <- unique(patient)
  list(y = as.numeric(tapply(numerator, factor(patient, order), sum)), x = as.numeric(tapply(denominator, factor(patient, order), sum)))
}

paired <- function(name, numerator, denominator, patient = NULL, level = 0.95) {
  unit <- if (is.null(patient)) list(y = numerator, x = denominator) else totals(numerator, denominator, patient)
  n <- length(unit$y)
  input <- list(y = mean(unit$y), x = mean(unit$x), vy = var(unit$y) / n, vx = var(unit$x) / n, cxy = cov(unit$y, unit$x) / n)
  c(list(name = name, numerator = numerator, denominator = denominator, level = level, units = n), if (!is.null(patient)) list(patient = patient),
    intervals(input, n - 1, level))
}

independent <- function(name, numerator, denominator, level = 0.95) {
  input <- list(y = mean(numerator), x = mean(denominator), vy = var(numerator) / length(numerator), vx = var(denominator) / length(denominator), cxy = 0)
  ratio <- input$y / input$x
  # The degrees of freedom of Welch's test that the two means differ by this ratio.
  df <- unname(t.test(numerator, ratio * denominator)$parameter)
  c(list(name = name, numerator = numerator, denominator = denominator, level = level), intervals(input, df, level))
}

bootstrap <- function(name, draws, seed, numerator, denominator, patient = NULL, level = 0.95) {
  unit <- if (is.null(patient)) list(y = numerator, x = denominator) else totals(numerator, denominator, patient)
  rows <- as.matrix(read.csv(file.path("..", "data", "bootstrap-draws", draws), header = FALSE)) + 1
  values <- apply(rows, 1, function(i) sum(unit$y[i]) / sum(unit$x[i]))
  ratio <- sum(unit$y) / sum(unit$x)
  n <- length(unit$y)
  left_out <- (sum(unit$y) - unit$y) / (sum(unit$x) - unit$x)
  influence <- (n - 1) * (mean(left_out) - left_out)
  shell <- boot(seq_len(n), function(data, i) ratio, R = nrow(rows))
  ties <- sum(abs(values - ratio) <= 4 * .Machine$double.eps * abs(ratio))
  given <- boot.ci(shell, conf = level, type = c("perc", "bca"), t0 = ratio, t = values, L = influence)
  accelerated <- given$bca[4:5]
  if (ties > 0) {
    w <- qnorm((sum(values < ratio - 4 * .Machine$double.eps * abs(ratio)) + ties / 2) / length(values))
    a <- sum(influence^3) / (6 * sum(influence^2)^1.5)
    z <- w + qnorm((1 + c(-level, level)) / 2)
    accelerated <- boot:::norm.inter(values, pnorm(w + z / (1 - a * z)))[, 2]
  }
  c(list(name = name, draws = draws, seed = seed, numerator = numerator, denominator = denominator, level = level, ratio = ratio, ties = ties,
    percentile = list(lower = given$percent[4], upper = given$percent[5]), accelerated = list(lower = accelerated[1], upper = accelerated[2])),
    if (!is.null(patient)) list(patient = patient))
}

now <- c(4.1, 3.2, 5.0, 2.7, 3.9, 4.4, 1.8, 3.1, 4.9, 2.2, 3.6, 4.0)
then <- c(5.0, 4.4, 5.6, 3.9, 4.8, 4.7, 3.5, 4.1, 5.2, 3.0, 4.9, 4.5)
whole_now <- c(4, 3, 5, 3, 4, 4, 2, 3, 5, 2, 4, 4)
whole_then <- c(5, 4, 6, 4, 5, 5, 4, 4, 5, 3, 5, 4)
patient <- c("a", "a", "b", "c", "c", "c", "d", "e", "e", "f", "g", "g", "g", "g", "h", "h")
many_now <- c(3.1, 2.8, 4.4, 1.2, 1.9, 0.7, 3.3, 2.5, 2.9, 0.4, 3.8, 4.1, 3.5, 4.6, 2.2, 2.0)
many_then <- c(4.0, 3.9, 4.2, 2.6, 2.4, 2.0, 4.1, 3.6, 3.4, 1.9, 4.4, 4.8, 4.1, 5.0, 3.3, 2.7)
write_fixture("ratio-of-means", "boot", list(
  paired = list(
    paired("twelve pairs", now, then),
    paired("two pairs, level 0.8", now[1:2], then[1:2], level = 0.8),
    paired("sixteen rows of eight patients", many_now, many_then, patient),
    paired("denominator near nothing", c(0.5, -0.2, 1.4, 0.9), c(1.0, -0.4, 0.2, -0.1)),
    paired("negative ratio", -now, then, level = 0.99)
  ),
  independent = list(
    independent("twelve against nine", now, then[1:9]),
    independent("unequal spread, level 0.9", c(2.2, 2.9, 2.4), c(1, 9, 4, 2, 6, 3, 8), 0.9)
  ),
  bootstrap = list(
    bootstrap("twelve pairs", "twelve.csv", 41, now, then),
    bootstrap("twelve pairs, level 0.9", "twelve.csv", 41, now, then, level = 0.9),
    bootstrap("whole numbers, replicates equal to the estimate", "twelve.csv", 41, whole_now, whole_then),
    bootstrap("eight patients with their rows", "eight.csv", 42, many_now, many_then, patient)
  )
))
