# Error between films told apart from retracing: nested analysis of variance with films compared by their unweighted
# means, and its limits (chi-squared, Graybill and Wang, modified large sample of Ting and others). For equal numbers the
# mean squares are held against R's own nested analysis of variance and the components against lme4, both inside this
# script; lme4's restricted maximum likelihood stands beside them where numbers are unequal.
# Packages: lme4 1.1-31. Data: lme4::Pastes (Davies and Goldsmith 1972: batches, casks, two assays of each), and three
# seeded, invented sets of films, each visit with a true value of its own.
suppressMessages(library(lme4))
source("shared/fixture.R")
level <- 0.95

exact <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE, check.conv.singular = "ignore")

agree <- function(a, b, within, what) {
  if (max(abs(a - b) / (1e-6 + abs(b))) > within) stop(what, ": ", paste(a, collapse = " "), " against ", paste(b, collapse = " "))
}

# readings[[v]]: how often each film of visit v was read.
invented <- function(seed, readings, film, retracing) {
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  rows <- lapply(seq_along(readings), function(visit) {
    truth <- rnorm(1, 112, 6)
    each <- lapply(seq_along(readings[[visit]]), function(f) {
      own <- rnorm(1, 0, film)
      data.frame(visit = visit, film = f, value = round(truth + own + rnorm(readings[[visit]][f], 0, retracing), 2))
    })
    do.call(rbind, each)
  })
  do.call(rbind, rows)
}

root <- function(limits) list(lower = sqrt(max(0, limits[1])), upper = sqrt(max(0, limits[2])))

# Limits of a - b, two independent mean squares with their weights in them.
difference_limits <- function(a, df_a, b, df_b) {
  alpha <- (1 - level) / 2
  upper_f <- function(p, df1, df2) qf(p, df1, df2, lower.tail = FALSE)
  g1 <- 1 - 1 / upper_f(alpha, df_a, Inf)
  h2 <- 1 / upper_f(1 - alpha, df_b, Inf) - 1
  f <- upper_f(alpha, df_a, df_b)
  g12 <- ((f - 1)^2 - g1^2 * f^2 - h2^2) / f
  h1 <- 1 / upper_f(1 - alpha, df_a, Inf) - 1
  g2 <- 1 - 1 / upper_f(alpha, df_b, Inf)
  f <- upper_f(1 - alpha, df_a, df_b)
  h12 <- ((1 - f)^2 - h1^2 * f^2 - g2^2) / f
  c(
    lower = a - b - sqrt(max(0, g1^2 * a^2 + h2^2 * b^2 + g12 * a * b)),
    upper = a - b + sqrt(max(0, h1^2 * a^2 + g2^2 * b^2 + h12 * a * b))
  )
}

# Limits of a sum of mean squares with their weights in them (Graybill and Wang 1980).
sum_limits <- function(squares, dfs) {
  alpha <- (1 - level) / 2
  lower <- sqrt(sum((squares * (1 - dfs / qchisq(1 - alpha, dfs)))^2))
  upper <- sqrt(sum((squares * (dfs / qchisq(alpha, dfs) - 1))^2))
  c(lower = max(0, sum(squares) - lower), upper = sum(squares) + upper)
}

components <- function(name, rows) {
  cell <- interaction(rows$visit, rows$film, drop = TRUE)
  film_mean <- tapply(rows$value, cell, mean)
  film_n <- tapply(rows$value, cell, length)
  film_visit <- tapply(rows$visit, cell, function(v) v[1])
  films_of <- ave(film_n, film_visit, FUN = length)
  df <- length(film_mean) - length(unique(film_visit))
  between <- sum((film_mean - ave(film_mean, film_visit))^2) / df
  share <- sum((1 - 1 / films_of) / film_n) / df
  within_df <- nrow(rows) - length(film_mean)
  within <- sum((rows$value - film_mean[cell])^2) / within_df
  variance <- between - share * within
  fit <- lmer(value ~ 1 + (1 | visit) + (1 | visit:film), transform(rows, visit = factor(visit), film = factor(film)), control = exact)
  by_lme4 <- as.data.frame(VarCorr(fit))
  by_lme4 <- setNames(by_lme4$vcov, by_lme4$grp)
  if (length(unique(film_n)) == 1 && length(unique(films_of)) == 1) {
    squares <- anova(lm(value ~ factor(visit) / factor(film), rows))
    agree(c(df, within_df), squares$Df[2:3], 1e-12, "degrees of freedom")
    agree(c(between / share, within), squares[["Mean Sq"]][2:3], 1e-9, "nested mean squares")
    if (variance > 0) agree(c(variance, within), by_lme4[c("visit:film", "Residual")], 1e-5, "components of lme4")
  }
  retracing <- list(sd = sqrt(within), df = within_df, limits = root(sum_limits_one(within, within_df)))
  list(
    name = name, visit = rows$visit, film = rows$film, value = rows$value,
    visits = length(unique(rows$visit)), visitsWithFilms = sum(table(film_visit) > 1), films = length(film_mean),
    df = df, filmMeanSquare = between, retracingShare = share, retracing = retracing,
    betweenFilms = list(
      variance = variance, sd = sqrt(max(0, variance)),
      limits = root(difference_limits(between, df, share * within, within_df))
    ),
    whole = list(
      sd = sqrt(between + (1 - share) * within),
      limits = root(sum_limits(c(between, (1 - share) * within), c(df, within_df)))
    ),
    lme4 = list(visit = by_lme4[["visit"]], film = by_lme4[["visit:film"]], retracing = by_lme4[["Residual"]])
  )
}

# A single mean square: the chi-squared limits themselves.
sum_limits_one <- function(square, df) {
  alpha <- (1 - level) / 2
  c(lower = square * df / qchisq(1 - alpha, df), upper = square * df / qchisq(alpha, df))
}

pastes <- data.frame(visit = as.integer(Pastes$batch), film = as.integer(Pastes$cask), value = Pastes$strength)
balanced <- invented(41, rep(list(c(2, 2)), 30), 0.9, 0.6)
# Mostly one film, read once or twice; some second films, some of them read again; one visit with three films.
unbalanced <- invented(
  42, c(rep(list(2), 25), rep(list(c(1, 1)), 18), rep(list(c(2, 1)), 9), rep(list(c(1, 3)), 4), list(c(2, 1, 1)), rep(list(1), 10)), 0.8, 0.7
)
# Films that differ by nothing beyond retracing.
alike <- invented(43, rep(list(c(2, 2)), 12), 0, 0.8)

write_fixture("between-film", "lme4", list(level = level, cases = list(
  components("pastes of Davies and Goldsmith", pastes),
  components("balanced films", balanced),
  components("unbalanced films", unbalanced),
  components("films alike", alike)
)))
