# Expected size from the untreated children of a study (docs/methods.md, "Expected growth"): a natural cubic spline
# for each sex, each child's own level and rate, restricted maximum likelihood. Needs shared/mixed-model.R.

curve_knots <- function(age, df) if (df == 1) numeric(0) else unname(quantile(age, seq_len(df - 1) / df, type = 7))

# For each sex its own intercept and its own curve; outside the boundary knots the curve goes on straight.
curve_columns <- function(sex, age, sexes, knots, boundary) {
  curve <- if (length(knots) == 0) cbind(age) else unclass(splines::ns(age, knots = knots, Boundary.knots = boundary))
  unname(do.call(cbind, lapply(sexes, function(one) cbind(1, curve) * (sex == one))))
}

expected_growth <- function(values, most = 6) {
  series <- values[values$group == "untreated", ]
  repeated <- rowsum(as.integer(table(series$patient_code) >= 2), series$sex[match(names(table(series$patient_code)), series$patient_code)])
  sexes <- sort(rownames(repeated)[repeated[, 1] >= 8])
  series <- series[series$sex %in% sexes, ]
  boundary <- range(series$age)
  fit <- function(df, restricted) {
    X <- curve_columns(series$sex, series$age, sexes, curve_knots(series$age, df), boundary)
    c(fit_mixed(X, series$value, series$patient_code, series$age, restricted), columns = ncol(X))
  }
  # The variance parameters are four: of level and rate, their covariance, and of the residual.
  akaike <- sapply(seq_len(most), function(df) {
    full <- fit(df, FALSE)
    -2 * full$log_likelihood + 2 * (full$columns + 4)
  })
  df <- which.min(akaike)
  chosen <- fit(df, TRUE)
  knots <- curve_knots(series$age, df)
  columns <- function(sex, age) curve_columns(rep(sex, length(age)), age, sexes, knots, boundary)
  list(
    df = df, akaike = akaike, knots = knots, boundary = boundary,
    V = chosen$covariance, rate_variance = chosen$random_covariance[2, 2], residual_variance = chosen$residual_variance,
    columns = columns,
    size = function(sex, age) as.vector(columns(sex, age) %*% chosen$coefficients),
    children = tapply(series$patient_code, series$sex, function(codes) length(unique(codes))),
    values = table(series$sex),
    # What a value of the series usually holds of the error variance of one reading.
    error_share = mean(1 / series$readings),
    ages = tapply(series$age, series$sex, range)
  )
}

# A measure that does not grow.
no_growth <- function() {
  list(
    V = matrix(0, 1, 1), rate_variance = 0, residual_variance = 0, error_share = 1, columns = function(sex, age) matrix(0, length(age), 1),
    size = function(sex, age) 0 * age, ages = NULL
  )
}

# Nothing is said more than a year outside the ages of the series of that sex.
speaks_for <- function(growth, sex, age) {
  if (is.null(growth$ages)) return(rep(TRUE, length(age)))
  ages <- growth$ages[[sex]]
  age >= ages[1] - 1 & age <= ages[2] + 1
}
