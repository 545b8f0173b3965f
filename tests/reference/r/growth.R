# Growth curves as linear mixed models: a straight line or a natural cubic spline in age for each sex, and a random
# intercept and slope for each child; restricted and full maximum likelihood. Plain-R maximum (shared/mixed-model.R),
# checked inside this script against lme4::lmer and nlme::lme.
# Packages: nlme 3.1-162, lme4 1.1-31, splines (with R). Data: nlme::Orthodont (Potthoff and Roy 1964), the ramus
# heights of Elston and Grizzle 1962, and a seeded, unbalanced series of 60 children.
source("shared/fixture.R")
source("shared/mixed-model.R")

unbalanced <- function() {
  set.seed(20, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  rows <- lapply(1:60, function(i) {
    male <- i %% 2
    ages <- sort(sample(seq(6, 18, by = 0.25), sample(2:8, 1)))
    expected <- 97 + 2 * male + (ages - 6) * 2.4 - ifelse(male == 1, 0, 0.18) * pmax(0, ages - 12)^1.6
    own <- rnorm(1, 0, 4) + rnorm(1, 0, 0.4) * (ages - 11)
    data.frame(child = i, sex = c("female", "male")[male + 1], age = ages, value = round(expected + own + rnorm(length(ages)), 1))
  })
  do.call(rbind, rows)
}

# Columns: for each sex its own intercept and its own curve; a straight line when there are no inner knots.
design <- function(sex, age, sexes, knots, boundary) {
  curve <- if (length(knots) == 0) cbind(age) else unclass(splines::ns(age, knots = knots, Boundary.knots = boundary))
  do.call(cbind, lapply(sexes, function(one) cbind(1, curve) * (sex == one)))
}

series_case <- function(name, call, series, df, ages, restricted) {
  knots <- quantile_knots(series$age, df)
  boundary <- range(series$age)
  sexes <- unique(sort(series$sex))
  X <- design(series$sex, series$age, sexes, knots, boundary)
  fit <- fit_mixed(unname(X), series$value, series$child, series$age, restricted)
  expected <- lapply(setNames(sexes, sexes), function(sex) {
    rows <- design(rep(sex, length(ages)), ages, sexes, knots, boundary)
    list(value = I(as.vector(rows %*% fit$coefficients)), standardError = I(sqrt(diag(rows %*% fit$covariance %*% t(rows)))))
  })
  list(
    name = name, call = call, degreesOfFreedom = df, method = if (restricted) "REML" else "ML",
    innerKnots = I(knots), boundaryKnots = I(boundary), sexes = I(sexes),
    logLikelihood = fit$log_likelihood, residualVariance = fit$residual_variance,
    # Of intercept and slope, age counted from birth.
    randomCovariance = fit$random_covariance,
    coefficients = I(fit$coefficients), coefficientCovariance = fit$covariance,
    expected = c(list(ages = I(ages)), expected),
    logLikelihoodOfPackages = list(lme4 = fit$lme4, nlme = fit$nlme)
  )
}

as_rows <- function(series) list(child = series$child, sex = series$sex, age = series$age, value = series$value)

orthodont <- data.frame(
  child = as.character(nlme::Orthodont$Subject), sex = tolower(as.character(nlme::Orthodont$Sex)),
  age = nlme::Orthodont$age, value = nlme::Orthodont$distance
)
ramus <- published("ramus-height.csv")
ramus <- data.frame(child = as.character(ramus$boy), sex = "male", age = ramus$age, value = ramus$height)
children <- unbalanced()
children$child <- as.character(children$child)

ortho_ages <- c(8, 9, 10.5, 12, 13.25, 14)
ramus_ages <- c(8, 8.25, 8.5, 9, 9.5)
child_ages <- c(6, 8, 10.5, 12, 14.5, 16, 18)

# The number of degrees of freedom that Akaike's criterion takes under full maximum likelihood, with inner knots at
# equally spaced quantiles (type 7) of all ages.
quantile_knots <- function(age, df) if (df == 1) numeric(0) else unname(quantile(age, seq_len(df - 1) / df))
choice_of_curve <- function(series, most) {
  sexes <- unique(sort(series$sex))
  criterion <- sapply(seq_len(most), function(df) {
    X <- design(series$sex, series$age, sexes, quantile_knots(series$age, df), range(series$age))
    fit <- fit_mixed(unname(X), series$value, series$child, series$age, FALSE)
    -2 * fit$log_likelihood + 2 * (ncol(X) + 4)
  })
  list(akaike = I(criterion), chosen = which.min(criterion))
}

subject_slopes <- function(series) sapply(split(series, factor(series$child, unique(series$child))), function(s) unname(coef(lm(value ~ age, s))[2]))
means_by <- function(series) {
  cells <- aggregate(value ~ age + sex, series, mean)
  lapply(split(cells, cells$sex), function(cell) list(ages = I(cell$age), means = I(cell$value)))
}
annualised <- function(series) {
  per_child <- sapply(split(series, factor(series$child, unique(series$child))), function(s) (s$value[s$age == 9.5] - s$value[s$age == 8]) / 1.5)
  list(mean = mean(per_child), sd = sd(per_child), lowest = min(per_child), highest = max(per_child))
}
slopes_of <- function(series) {
  slopes <- subject_slopes(series)
  list(slopes = I(unname(slopes)), mean = mean(slopes), sd = sd(slopes))
}

fits_of <- function(name, call, series, ages, dfs) {
  unlist(recursive = FALSE, lapply(dfs, function(df) {
    lapply(c(TRUE, FALSE), function(restricted) series_case(name, call, series, df, ages, restricted))
  }))
}

write_fixture("growth", c("nlme", "lme4"), list(
  series = list(orthodont = as_rows(orthodont), ramus = as_rows(ramus), unbalanced = as_rows(children)),
  plain = list(
    orthodont = list(meansBySex = means_by(orthodont), female = slopes_of(orthodont[orthodont$sex == "female", ]), male = slopes_of(orthodont[orthodont$sex == "male", ])),
    ramus = list(meansBySex = means_by(ramus), male = slopes_of(ramus), annualised = annualised(ramus))
  ),
  choice = list(
    orthodont = choice_of_curve(orthodont, 3), ramus = choice_of_curve(ramus, 3), unbalanced = choice_of_curve(children, 6)
  ),
  fits = c(
    fits_of("orthodont", "lme(distance ~ Sex * curve, Orthodont, random = ~ age | Subject)", orthodont, ortho_ages, 1:3),
    fits_of("ramus", "lme(height ~ curve, random = ~ age | boy)", ramus, ramus_ages, 1:2),
    fits_of("unbalanced", "lme(value ~ sex * curve, random = ~ age | child)", children, child_ages, 1:4)
  )
))
