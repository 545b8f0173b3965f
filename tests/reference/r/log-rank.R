# Log-rank tests and their weighted relatives. survival::survdiff gives the log-rank test and Fleming and Harrington's
# S(t-)^rho, also stratified. The score test of survival::coxph with exact ties is the log-rank test with the
# hypergeometric variance; it alone covers late entry, trends and frequencies. The other weights come from their
# definitions, written here plainly with a matrix of who is at risk when. Packages: survival 3.5-3, KMsurv 0.1-5-2.
source("shared/fixture.R")
library(survival)

by_definition <- function(time, event, group, stratum, weight_of) {
  groups <- sort(unique(group))
  score <- 0
  variance <- 0
  for (s in unique(stratum)) {
    here <- stratum == s
    moments <- sort(unique(time[here & event == 1]))
    n <- sapply(groups, function(g) sapply(moments, function(t) sum(here & group == g & time >= t)))
    d <- sapply(groups, function(g) sapply(moments, function(t) sum(here & group == g & time == t & event == 1)))
    n <- matrix(n, ncol = length(groups))
    d <- matrix(d, ncol = length(groups))
    N <- rowSums(n)
    D <- rowSums(d)
    w <- weight_of(N, D)
    score <- score + colSums(w * (d - n * D / N))
    for (i in seq_along(moments)) {
      p <- n[i, ] / N[i]
      if (N[i] > 1) variance <- variance + w[i]^2 * D[i] * (N[i] - D[i]) / (N[i] - 1) * (diag(p) - outer(p, p))
    }
  }
  kept <- -1
  list(
    score = score, variance = variance,
    chiSquared = sum(score[kept] * solve(variance[kept, kept], score[kept]))
  )
}

before <- function(S) c(1, S[-length(S)])
weights_by_definition <- list(
  gehanBreslow = function(N, D) N,
  taroneWare = function(N, D) sqrt(N),
  petoPeto = function(N, D) cumprod(1 - D / (N + 1)),
  modifiedPetoPeto = function(N, D) cumprod(1 - D / (N + 1)) * N / (N + 1),
  late = function(N, D) 1 - before(cumprod(1 - D / N)),
  both = function(N, D) { S <- before(cumprod(1 - D / N)); sqrt(S * (1 - S)) }
)

of_survdiff <- function(time, event, group, stratum, rho) {
  fit <- if (length(unique(stratum)) == 1) survdiff(Surv(time, event) ~ group, rho = rho) else survdiff(Surv(time, event) ~ group + strata(stratum), rho = rho)
  total <- function(x) if (is.matrix(x)) rowSums(x) else x
  list(rho = rho, observed = total(fit$obs), expected = total(fit$exp), covariance = fit$var, chiSquared = fit$chisq, p = fit$pvalue)
}

case <- function(name, call, time, event, group, stratum = rep(1, length(time))) {
  trend <- coxph(Surv(time, event) ~ as.integer(factor(group)) + strata(stratum), ties = "exact")
  list(
    name = name, call = call, time = time, event = as.integer(event), group = group, stratum = stratum,
    survdiff = lapply(c(0, 1, 0.5), function(rho) of_survdiff(time, event, group, stratum, rho)),
    byDefinition = lapply(weights_by_definition, function(weight_of) by_definition(time, event, group, stratum, weight_of)),
    trend = trend$score
  )
}

# coxph's exact score test, with or without late entry and strata.
score_case <- function(name, call, entry, time, event, group, stratum = rep(1, length(time)), ties = "exact") {
  response <- if (is.null(entry)) Surv(time, event) else Surv(entry, time, event)
  list(
    name = name, call = call, entry = entry, time = time, event = as.integer(event), group = group, stratum = stratum,
    test = coxph(response ~ factor(group) + strata(stratum), ties = ties)$score,
    trend = coxph(response ~ as.integer(factor(group)) + strata(stratum), ties = ties)$score
  )
}

remission <- published("remission.csv")
data(kidney, package = "KMsurv")
dialysis <- kidney
data(bmt, package = "KMsurv")
data(larynx, package = "KMsurv")
data(channing, package = "KMsurv")
channing <- channing[channing$ageentry < channing$age, ]
veteran <- survival::veteran
lung_known <- lung[!is.na(lung$ph.ecog), ]

set.seed(20261126)
n <- 240
rough <- data.frame(
  time = ceiling(rexp(n, 0.2)), event = rbinom(n, 1, 0.7),
  group = sample(c("a", "b", "c", "d"), n, TRUE, c(0.6, 0.25, 0.1, 0.05)), stratum = sample(1:5, n, TRUE)
)
smooth <- data.frame(time = rexp(90), event = rbinom(90, 1, 0.5), group = rep(1:2, c(70, 20)))
late <- data.frame(entry = round(runif(150, 0, 3), 1))
late$time <- round(late$entry + 0.1 + rexp(150, 0.5), 1) # to one decimal: dust would split ties
late$event <- rbinom(150, 1, 0.75)
late$group <- sample(1:3, 150, TRUE)
late$stratum <- sample(1:2, 150, TRUE)

write_fixture("log-rank", c("survival", "KMsurv"), list(
  cases = list(
    case("remission", "survdiff(Surv(time, event) ~ arm, remission)", remission$time, remission$event, remission$arm),
    case("dialysis, catheter placement", "survdiff(Surv(time, delta) ~ type, KMsurv::kidney)", dialysis$time, dialysis$delta, dialysis$type),
    case("marrow transplant, disease group", "survdiff(Surv(t2, d3) ~ group, KMsurv::bmt)", bmt$t2, bmt$d3, bmt$group),
    case("larynx, stage", "survdiff(Surv(time, delta) ~ stage, KMsurv::larynx)", larynx$time, larynx$delta, larynx$stage),
    case("veteran, treatment within cell type", "survdiff(Surv(time, status) ~ trt + strata(celltype), veteran)", veteran$time, veteran$status, veteran$trt, as.character(veteran$celltype)),
    case("lung, performance score within sex", "survdiff(Surv(time, status) ~ ph.ecog + strata(sex), lung)", lung_known$time, lung_known$status == 2, lung_known$ph.ecog, lung_known$sex),
    case("invented, many ties, unequal groups, five strata", "seed 20261126", rough$time, rough$event, rough$group, rough$stratum)
  ),
  scoreTests = list(
    score_case("channing, sexes, late entry", "coxph(Surv(ageentry, age, death) ~ factor(gender), ties = 'exact')$score", channing$ageentry, channing$age, channing$death, channing$gender),
    score_case("invented, late entry, three groups, two strata", "coxph(Surv(entry, time, event) ~ factor(group) + strata(stratum), ties = 'exact')$score", late$entry, late$time, late$event, late$group, late$stratum),
    score_case("invented, two groups without ties", "coxph(Surv(time, event) ~ factor(group), ties = 'breslow')$score", NULL, smooth$time, smooth$event, smooth$group, ties = "breslow")
  )
))
