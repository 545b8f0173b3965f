# Intraclass correlations, and within-subject spread with unequal numbers of readings.
# Packages: psych (ICC without lmer: mean squares of aov, intervals of Shrout and Fleiss), nlme (variance components by
# REML, which for balanced data are those of the analysis of variance).
# Where ICC(2,1) is below 0 psych puts the negative value into Satterthwaite's degrees of freedom; the literature's
# approximation holds for positive weights only, so its limits are taken for positive ICC(2,1) only.
# Data: Shrout and Fleiss 1979, Elston and Grizzle 1962, Bland and Altman 1986, and seeded ones.
source("shared/fixture.R")
suppressMessages({library(psych); library(nlme)})
set.seed(1979)

forms <- c("ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)")
case <- function(name, ratings, level = 0.95) {
  ratings <- unname(as.matrix(ratings))
  result <- ICC(ratings, missing = FALSE, alpha = 1 - level, lmer = FALSE)
  table <- result$results
  squares <- as.numeric(summary(aov(c(ratings) ~ factor(row(ratings)) + factor(col(ratings))))[[1]][["Mean Sq"]])
  n <- nrow(ratings)
  negative <- table$ICC[2] < 0
  coefficients <- lapply(1:6, function(i) {
    unsure <- negative && i %in% c(2, 5)
    # The limit of a single rating lies where the mean of k has no coefficient: psych prints a number above 1.
    impossible <- i > 3 && 1 + (ncol(ratings) - 1) * table[["lower bound"]][i - 3] <= 0
    unsure <- unsure || impossible
    list(form = forms[i], estimate = table$ICC[i], f = table$F[i], df1 = table$df1[i], df2 = table$df2[i], p = table$p[i],
      lower = if (unsure) NA else table[["lower bound"]][i], upper = if (unsure) NA else table[["upper bound"]][i])
  })
  list(name = name, level = level, ratings = ratings, coefficients = coefficients,
    meanSquares = list(subjects = squares[1], raters = squares[2], error = squares[3]),
    standardErrorAgreement = sqrt(max(0, (squares[2] - squares[3]) / n) + squares[3]), standardErrorConsistency = sqrt(squares[3]))
}

spread <- function(name, subject, value, level = 0.95) {
  subject <- factor(subject)
  squares <- as.numeric(summary(aov(value ~ subject))[[1]][["Mean Sq"]])
  counts <- as.numeric(table(subject))
  total <- sum(counts)
  n <- length(counts)
  m <- (total - sum(counts^2) / total) / (n - 1)
  df <- total - n
  between <- (squares[1] - squares[2]) / m
  f <- squares[1] / squares[2]
  tail <- (1 - level) / 2
  ratio <- function(f) (f - 1) / (f + m - 1)
  balanced <- length(unique(counts)) == 1 && between > 0
  components <- NULL
  if (balanced) {
    fit <- lme(value ~ 1, random = ~ 1 | subject, control = lmeControl(tolerance = 1e-12, msTol = 1e-14, opt = "optim", reltol = 1e-14))
    components <- list(between = as.numeric(VarCorr(fit)[1, 1]), within = fit$sigma^2)
  }
  c(list(name = name, level = level, subject = as.integer(subject), value = value, withinSd = sqrt(squares[2]), df = df,
    withinLimits = list(lower = sqrt(df * squares[2] / qchisq(1 - tail, df)), upper = sqrt(df * squares[2] / qchisq(tail, df))),
    betweenVariance = between, effectiveReplicates = m, reliability = between / (between + squares[2]),
    reliabilityLimits = list(lower = ratio(f / qf(1 - tail, n - 1, df)), upper = ratio(f / qf(tail, n - 1, df)))),
    if (balanced) list(byLikelihood = components))
}

judges <- published("judges-1979.csv")
ramus <- matrix(published("ramus-height.csv")$height, ncol = 4, byrow = TRUE)
flow <- published("peak-flow.csv")
seeded <- function(n, k, subjects, raters, error) {
  outer(rnorm(n, 70, subjects), rnorm(k, 0, raters), "+") + matrix(rnorm(n * k, 0, error), n)
}
unequal <- rep(1:9, c(1, 4, 2, 2, 7, 1, 3, 2, 5))
write_fixture("intraclass", c("psych", "nlme"), list(
  tables = list(
    case("Shrout and Fleiss 1979", judges),
    case("Shrout and Fleiss 1979, level 0.9", judges, 0.9),
    case("ramus heights, ages as raters", ramus),
    case("large peak flow meter twice", flow[flow$meter == "large", c("first", "second")]),
    case("two subjects, two raters", rbind(c(1.2, 1.9), c(4.4, 4.1))),
    case("three subjects, five raters", seeded(3, 5, 2, 1, 1)),
    case("fifty subjects, three raters who differ", seeded(50, 3, 3, 2, 0.5)),
    case("raters who do not differ", seeded(25, 2, 3, 0, 0.5)),
    case("subjects who do not differ", seeded(12, 3, 0, 0.2, 2)),
    case("ratings rounded to whole numbers", round(seeded(30, 4, 1.5, 0.3, 0.7)))
  ),
  spreads = list(
    spread("ramus heights", rep(1:20, each = 4), c(t(ramus))),
    spread("both meters, four readings a subject", rep(1:17, 4), c(flow$first, flow$second)),
    spread("unequal numbers", unequal, 80 + rnorm(9, 0, 3)[unequal] + rnorm(27, 0, 0.8)),
    spread("unequal numbers, subjects who do not differ, level 0.8", unequal, 80 + rnorm(27, 0, 0.8), 0.8),
    spread("two subjects, three readings", c(1, 1, 2), c(5.1, 5.4, 7.7))
  )
))
