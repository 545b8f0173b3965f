# The non-parametric maximum likelihood estimate for interval-censored times: published arms and seeded samples,
# maximised in plain R (shared/turnbull.R) to a gap of 1e-12 in the Karush-Kuhn-Tucker conditions, beside
# survival::survfit, whose iterations stop early.
# Packages: survival 3.5-3, KMsurv 0.1-5-2.
source("shared/fixture.R")
source("shared/turnbull.R")
library(survival)

survfit_at <- function(left, right, times) {
  time2 <- ifelse(is.finite(right), right, NA)
  fit <- survfit(Surv(ifelse(left == 0 & is.finite(right) & left < right, NA, left), time2, type = "interval2") ~ 1)
  # survfit puts the mass of a cell at its middle: reading at the right end of a cell has it behind.
  summary(fit, times = times, extend = TRUE)$surv
}

naive <- function(left, right, seen, at) {
  fit <- survfit(Surv(ifelse(is.finite(right), seen, left), is.finite(right)) ~ 1)
  summary(fit, times = at, extend = TRUE)$surv
}

sample_case <- function(name, source, left, right, at) {
  result <- turnbull(left, right)
  carries <- result$mass > 0
  finite <- carries & is.finite(result$cells$right)
  list(
    name = name, source = source, left = I(left), right = I(right),
    logLikelihood = result$log_likelihood, optimalityGap = result$gap, unique = result$unique,
    cells = list(
      left = I(result$cells$left[carries]), right = I(result$cells$right[carries]),
      mass = I(result$mass[carries]), survivalAfter = I(pmax(0, result$survival[carries]))
    ),
    survfit = list(time = I(result$cells$right[finite]), survival = I(survfit_at(left, right, result$cells$right[finite]))),
    naive = list(
      time = I(at), rightEnd = I(naive(left, right, right, at)), middle = I(naive(left, right, (left + right) / 2, at))
    )
  )
}

# Times in half months, whole numbers: visits about once a year, some missed, some patients with an exact time.
seeded <- function(n, seed, exact_share) {
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  rows <- lapply(seq_len(n), function(i) {
    event <- max(1, round(24 * 6 * (-log(runif(1)))^(1 / 1.3)))
    visits <- 24 * (1:8) + sample(-4:4, 8, replace = TRUE)
    seen <- c(0, visits[runif(length(visits)) < 0.75])
    if (runif(1) < exact_share) return(c(event, event))
    if (event > max(seen)) return(c(max(seen), Inf))
    c(max(seen[seen < event]), min(seen[seen >= event]))
  })
  data.frame(left = sapply(rows, `[`, 1), right = sapply(rows, `[`, 2))
}

arms <- published("cosmetic-deterioration.csv")
arm <- function(name) {
  rows <- arms[arms$arm == name, ]
  data.frame(left = rows$left, right = ifelse(is.na(rows$right), Inf, rows$right))
}
radiotherapy <- arm("radiotherapy")
both <- arm("radiotherapy and chemotherapy")
data(bcdeter, package = "KMsurv")
textbook <- bcdeter[bcdeter$treat == 2, ]
textbook$upper[is.na(textbook$upper)] <- Inf
months <- c(12, 24, 36)
half_months <- c(24, 48, 120)
small <- seeded(30, 1, 0)
medium <- seeded(100, 2, 0.1)
large <- seeded(300, 3, 0)

write_fixture("turnbull", c("survival", "KMsurv"), list(cases = list(
  sample_case("radiotherapy", "Finkelstein and Wolfe 1985", radiotherapy$left, radiotherapy$right, months),
  sample_case("radiotherapy and chemotherapy", "Finkelstein and Wolfe 1985", both$left, both$right, months),
  sample_case("radiotherapy and chemotherapy, textbook version with two exact times", "KMsurv::bcdeter, treat == 2", textbook$lower, textbook$upper, months),
  sample_case("30 seeded", "seeded(30, 1, 0)", small$left, small$right, half_months),
  sample_case("100 seeded, some times exact", "seeded(100, 2, 0.1)", medium$left, medium$right, half_months),
  sample_case("300 seeded", "seeded(300, 3, 0)", large$left, large$right, half_months)
)))
