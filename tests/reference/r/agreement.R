# Method error from duplicate readings: Dahlberg's error with chi-squared limits, method of moments, t test of bias,
# smallest detectable change, intraclass correlation.
# Packages: none beyond R. Data: Bland and Altman 1986 (peak flow, two meters), and invented SNB readings with a
# difference between first and second reading.
source("shared/fixture.R")

# Two-way analysis of variance of an n x k table (Shrout and Fleiss 1979).
intraclass <- function(first, second) {
  long <- data.frame(value = c(first, second), subject = factor(rep(seq_along(first), 2)), occasion = gl(2, length(first)))
  squares <- anova(lm(value ~ subject + occasion, long))[["Mean Sq"]]
  n <- length(first)
  (squares[1] - squares[3]) / (squares[1] + squares[3] + 2 * (squares[2] - squares[3]) / n)
}

duplicates <- function(name, first, second) {
  d <- second - first
  n <- length(d)
  test <- t.test(second, first, paired = TRUE)
  dahlberg <- sqrt(sum(d^2) / (2 * n))
  list(
    name = name, first = first, second = second, pairs = n,
    dahlberg = dahlberg,
    dahlbergLimits = list(
      lower = sqrt(sum(d^2) / 2 / qchisq(0.975, n)), upper = sqrt(sum(d^2) / 2 / qchisq(0.025, n))
    ),
    moments = sd(d) / sqrt(2),
    momentsLimits = list(
      lower = sqrt((n - 1) * var(d) / 2 / qchisq(0.975, n - 1)), upper = sqrt((n - 1) * var(d) / 2 / qchisq(0.025, n - 1))
    ),
    biasLimits = list(lower = test$conf.int[1], upper = test$conf.int[2]),
    # Smallest detectable change of a patient and of the mean of ten, method of moments, with qnorm in place of 1.96.
    detectable = qnorm(0.975) * sd(d),
    detectableUpper = qnorm(0.975) * sqrt((n - 1) * var(d) / qchisq(0.025, n - 1)),
    detectableOfTen = qnorm(0.975) * sd(d) / sqrt(10),
    bias = mean(d), biasSd = sd(d), biasT = unname(test$statistic), biasP = test$p.value,
    smallestDetectableChange = 1.96 * sqrt(2) * dahlberg,
    intraclassAgreement = intraclass(first, second)
  )
}

flow <- published("peak-flow.csv")
snb <- published("snb-duplicates.csv")
large <- flow[flow$meter == "large", ]
mini <- flow[flow$meter == "mini", ]
write_fixture("agreement", character(0), list(level = 0.95, cases = list(
  duplicates("large meter, repeated", large$first, large$second),
  duplicates("mini meter, repeated", mini$first, mini$second),
  duplicates("large meter against mini meter", mini$first, large$first),
  duplicates("SNB with a difference between readings", snb$first, snb$second)
)))
