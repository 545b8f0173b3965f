# Cox regression by survival::coxph, with R's own tolerances tightened: coefficients, covariances, tests, concordance,
# baseline hazard, survival curves, residuals, tests of proportional hazards, and profile limits by offsets.
# Packages: survival 3.5-3, KMsurv. Data: survival's and KMsurv's own sets, and invented ones drawn from a seed.
source("shared/fixture.R")
suppressPackageStartupMessages({
  library(survival)
  library(KMsurv)
})
tight <- coxph.control(eps = 1e-14, iter.max = 100, toler.chol = 1e-15, timefix = FALSE)

# Fits once more with what the case needs; formulas are built so that predict() and survfit() find everything.
fit_case <- function(data, covariates, ties, entry, strata, weighted, cluster, extra = "") {
  left <- if (entry) "Surv(entry, time, event)" else "Surv(time, event)"
  right <- paste(c(covariates, if (strata) "strata(stratum)"), collapse = " + ")
  call <- list(as.formula(paste(left, "~", right, extra)), data = quote(data), ties = ties, control = quote(tight))
  if (weighted) call$weights <- quote(weight)
  if (cluster) call$cluster <- quote(cluster)
  eval(as.call(c(quote(coxph), call)))
}

# The place where twice the fall of the profile log-likelihood is the chi-squared quantile, for the first coefficient.
profile_limits <- function(fit, refit) {
  fall <- function(b) 2 * (fit$loglik[2] - refit(b)) - qchisq(0.95, 1)
  centre <- coef(fit)[[1]]
  step <- 4 * sqrt(diag(vcov_of_model(fit)))[1]
  side <- function(sign) uniroot(fall, centre + sign * c(0.1, 1.5) * step, tol = 1e-13, extendInt = "yes")$root
  I(c(side(-1), side(1)))
}
vcov_of_model <- function(fit) if (is.null(fit$naive.var)) fit$var else fit$naive.var

test_table <- function(fit, transform, terms) {
  table <- cox.zph(fit, transform = transform, terms = terms)$table
  list(statistic = I(unname(table[, "chisq"])), df = I(unname(table[, "df"])), p = I(unname(table[, "p"])))
}

curves <- function(fit, data, place, strata) {
  row <- data[place, ]
  kinds <- c(log = "log", logLog = "log-log", plain = "plain")
  found <- lapply(kinds, function(kind) survfit(fit, newdata = row, conf.type = kind, censor = FALSE))
  one <- found$log
  list(
    place = place - 1, stratum = if (strata) as.character(row$stratum) else NULL,
    time = I(one$time), survival = I(one$surv), hazard = I(one$cumhaz), hazardError = I(one$std.err),
    limits = lapply(found, function(curve) list(lower = I(curve$lower), upper = I(curve$upper)))
  )
}

described_covariate <- function(data, name) {
  values <- data[[name]]
  if (is.factor(values)) list(kind = "factor", name = name, values = I(as.character(values)), levels = I(levels(values)))
  else list(kind = "numeric", name = name, values = I(as.numeric(values)))
}

case <- function(name, data, covariates, ties = "efron", curve_row = 1, profile = TRUE, zph = TRUE) {
  data <- data[complete.cases(data), ]
  has <- function(column) column %in% names(data)
  fit <- fit_case(data, covariates, ties, has("entry"), has("stratum"), has("weight"), has("cluster"))
  assign("data", data, envir = globalenv())
  agreement <- concordance(fit)
  hazard <- basehaz(fit, centered = FALSE)
  robust <- !is.null(fit$naive.var)
  first <- model.matrix(fit)[, 1]
  refit <- function(b) {
    data$shifted <<- b * first
    rest <- covariates[-1]
    if (length(rest) == 0 && length(coef(fit)) == 1) {
      fit_case(data, "1", ties, has("entry"), has("stratum"), has("weight"), FALSE, "+ offset(shifted)")$loglik[1]
    } else {
      tail(fit_case(data, rest, ties, has("entry"), has("stratum"), has("weight"), FALSE, "+ offset(shifted)")$loglik, 1)
    }
  }
  list(
    name = name, ties = ties,
    time = I(data$time), event = I(as.integer(data$event)),
    entry = if (has("entry")) I(data$entry), weights = if (has("weight")) I(data$weight),
    strata = if (has("stratum")) I(as.character(data$stratum)), clusters = if (has("cluster")) I(as.character(data$cluster)),
    covariates = lapply(covariates, function(covariate) described_covariate(data, covariate)),
    coefficients = I(unname(coef(fit))), covariance = I(as.vector(fit$var)), modelCovariance = I(as.vector(vcov_of_model(fit))),
    robust = robust, logLikelihood = I(fit$loglik), score = fit$score, wald = fit$wald.test, robustScore = if (robust) fit$rscore,
    concordance = list(
      estimate = unname(agreement$concordance), standardError = sqrt(agreement$var),
      counts = I(if (is.matrix(agreement$count)) colSums(agreement$count) else unname(agreement$count))
    ),
    baseline = list(time = I(hazard$time), hazard = I(hazard$hazard), strata = if (has("stratum")) I(sub("stratum=", "", as.character(hazard$strata), fixed = TRUE))),
    martingale = I(unname(head(residuals(fit, "martingale"), 100))),
    deviance = I(unname(head(residuals(fit, "deviance"), 100))),
    scoreResiduals = I(as.vector(t(head(as.matrix(residuals(fit, "score")), 100)))),
    schoenfeld = I(as.vector(t(head(as.matrix(residuals(fit, "schoenfeld")), 100)))),
    curve = curves(fit, data, curve_row, has("stratum")),
    proportionality = if (zph) lapply(
      c(identity = "identity", km = "km", rank = "rank", log = "log"),
      function(transform) test_table(fit, transform, TRUE)
    ),
    scaledSchoenfeld = if (zph && !has("stratum") && !has("weight")) I(as.vector(t(head(as.matrix(residuals(fit, "scaledsch")), 100)))),
    profile = if (profile) profile_limits(fit, refit)
  )
}

with_times <- function(data, time, event, ...) cbind(data.frame(time = time, event = event, ...), data)

lung_rows <- with_times(lung[c("age", "sex", "ph.ecog", "wt.loss")], lung$time, lung$status == 2)
veteran_rows <- with_times(veteran[c("karno", "trt", "celltype", "age", "prior")], veteran$time, veteran$status)
ovarian_rows <- with_times(ovarian[c("age", "rx", "resid.ds")], ovarian$futime, ovarian$fustat)
deaths <- colon[colon$etype == 2, ]
colon_rows <- with_times(deaths[c("rx", "nodes", "extent")], deaths$time, deaths$status, stratum = deaths$surg)
heart_rows <- with_times(heart[c("age", "year", "surgery", "transplant")], heart$stop, heart$event, entry = heart$start)
heart_clusters <- cbind(heart_rows, cluster = heart$id)
bladder_rows <- with_times(bladder[c("number", "size", "rx")], bladder$stop, bladder$event, stratum = bladder$enum, cluster = bladder$id)
rats_rows <- with_times(rats["rx"], rats$time, rats$status, stratum = rats$sex, cluster = paste(rats$sex, rats$litter))
data(larynx, bmt, kidney, alloauto, channing, package = "KMsurv")
larynx_rows <- with_times(transform(larynx, stage = factor(stage), diagyr = 1900 + diagyr)[c("stage", "age", "diagyr")], larynx$time, larynx$delta)
bmt_rows <- with_times(transform(bmt, group = factor(group))[c("group", "z1", "z2", "z8")], bmt$t2, bmt$d3)
kidney_rows <- with_times(kidney["type"], kidney$time, kidney$delta)
channing_used <- channing[channing$age > channing$ageentry, ]
channing_rows <- with_times(channing_used["gender"], channing_used$age, channing_used$death, entry = channing_used$ageentry)

set.seed(20261125)
heavy <- function(n, largest) {
  x <- rnorm(n)
  group <- factor(sample(c("a", "b", "c"), n, TRUE))
  time <- ceiling(pmin(rexp(n, exp(0.7 * x - 0.4 * (group == "b"))) * 4, largest))
  data.frame(time = time, event = rbinom(n, 1, 0.75), x = x, group = group)
}
many_ties <- heavy(80, 6)
all_tied <- data.frame(time = 3, event = rep(1:0, 15), x = rnorm(30), z = rbinom(30, 1, 0.5))
tiny <- data.frame(time = c(2, 3, 3, 5, 8, 9), event = c(1, 1, 0, 1, 0, 1), x = c(1, 0, 2, 1, 0, 1))
few_events <- data.frame(time = round(rexp(60, 0.1), 3), event = rep(c(1, rep(0, 9)), 6), x = rnorm(60), z = runif(60))
years <- transform(heavy(120, 30), year = 2000 + sample(0:20, 120, TRUE), heart_rate = 1e5 + 3 * x)
counted <- cbind(heavy(50, 12), weight = as.numeric(sample(1:4, 50, TRUE)))
sampled <- cbind(heavy(70, 9), weight = round(runif(70, 0.2, 3), 3))
late <- local({
  rows <- heavy(150, 15)
  rows$entry <- pmax(0, rows$time - sample(1:12, 150, TRUE))
  cbind(rows, stratum = sample(c("north", "south"), 150, TRUE), weight = round(runif(150, 0.5, 2), 2), cluster = sample(1:40, 150, TRUE))
})
wide <- local({
  x <- c(rnorm(55), rnorm(5, 12))
  data.frame(time = round(rexp(60, exp(1.5 * pmin(x, 3))) * 100 + 1), event = rbinom(60, 1, 0.8), x = x)
})

# A monotone likelihood: coxph stops somewhere far out; its log-likelihood and the finite coefficients are right.
monotone <- function(name, data, covariates, infinite) {
  assign("data", data, envir = globalenv())
  has <- function(column) column %in% names(data)
  fit <- suppressWarnings(fit_case(data, covariates, "efron", has("entry"), has("stratum"), FALSE, has("cluster")))
  finite <- setdiff(seq_along(coef(fit)), infinite)
  list(
    name = name, ties = "efron", time = I(data$time), event = I(as.integer(data$event)),
    entry = if (has("entry")) I(data$entry), weights = NULL,
    strata = if (has("stratum")) I(as.character(data$stratum)), clusters = if (has("cluster")) I(as.character(data$cluster)),
    covariates = lapply(covariates, function(covariate) described_covariate(data, covariate)),
    infinite = I(infinite - 1), logLikelihood = I(fit$loglik), score = fit$score,
    finite = I(finite - 1), estimates = I(unname(coef(fit))[finite]), errors = I(sqrt(diag(fit$var))[finite])
  )
}
no_deaths <- transform(veteran_rows, event = ifelse(celltype == "large", 0, event))
reference_lives <- transform(veteran_rows, event = ifelse(celltype == "squamous", 0, event))
earliest <- local({
  rows <- transform(late, mark = as.numeric(time <= 3 & event == 1))
  rows[c("time", "event", "entry", "stratum", "x", "group", "mark")]
})

write_fixture("cox-regression", c("survival", "KMsurv"), list(cases = list(
  case("lung", lung_rows, c("age", "sex", "ph.ecog", "wt.loss")),
  case("lung, Breslow", lung_rows, c("age", "sex", "ph.ecog", "wt.loss"), "breslow"),
  case("veteran, a factor in the middle", veteran_rows, c("karno", "celltype", "trt", "age", "prior"), curve_row = 40),
  case("veteran, Breslow", veteran_rows, c("celltype", "karno"), "breslow", curve_row = 40, profile = FALSE),
  case("ovarian", ovarian_rows, c("age", "rx", "resid.ds")),
  case("colon deaths, stratified by the delay of surgery", colon_rows, c("nodes", "extent", "rx")),
  case("heart transplants, start and stop", heart_rows, c("age", "year", "surgery", "transplant")),
  case("heart transplants, start and stop, clustered, Breslow", heart_clusters, c("age", "year", "surgery", "transplant"), "breslow"),
  case("bladder recurrences, stratified and clustered", bladder_rows, c("number", "size", "rx")),
  case("rats, stratified and clustered by litter", rats_rows, "rx"),
  case("larynx, calendar years", larynx_rows, c("age", "stage", "diagyr")),
  case("bone marrow transplants", bmt_rows, c("z1", "z2", "z8", "group")),
  case("kidney catheters", kidney_rows, "type"),
  case("Channing House, entering late", channing_rows, "gender"),
  case("invented, six distinct times", many_ties, c("x", "group")),
  case("invented, six distinct times, Breslow", many_ties, c("x", "group"), "breslow"),
  case("invented, all at one time", all_tied, c("x", "z"), zph = FALSE),
  case("invented, six rows", tiny, "x"),
  case("invented, nine in ten censored", few_events, c("x", "z")),
  case("invented, covariates far from zero", years, c("year", "heart_rate", "group")),
  case("invented, counted rows as weights", counted, c("x", "group")),
  case("invented, sampling weights", sampled, c("x", "group")),
  case("invented, sampling weights, Breslow", sampled, c("x", "group"), "breslow"),
  case("invented, late entry, ties, strata, weights and clusters", late, c("x", "group")),
  case("invented, late entry, ties, strata, weights and clusters, Breslow", late, c("x", "group"), "breslow"),
  case("invented, a few values far out", wide, "x")
), monotone = list(
  monotone("veteran, a level without deaths", no_deaths, c("karno", "celltype", "trt"), 4),
  monotone("veteran, the reference level without deaths", reference_lives, c("karno", "celltype", "trt"), 2:4),
  monotone("veteran, the reference level without deaths, clustered", cbind(reference_lives, cluster = seq_len(nrow(reference_lives)) %% 40), c("karno", "celltype", "trt"), 2:4),
  monotone("invented, a mark of early events, entering late, stratified", earliest, c("x", "group", "mark"), 4)
)))
