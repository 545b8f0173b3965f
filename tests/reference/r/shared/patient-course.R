# One patient's course by docs/methods.md, "Adjusted gain, retained share, status". Every quantity is a contrast: one
# weight for each of the patient's visits, the weights summing to zero.

# Estimate, two uncertainties and the curve's columns of one contrast `w` over the rows of `visits`.
contrast_of <- function(visits, w, yardstick) {
  growth <- yardstick$growth
  sex <- visits$sex[1]
  x <- as.vector(w %*% growth$columns(sex, visits$age))
  list(
    w = w, visits = visits, x = x,
    estimate = yardstick$direction * sum(w * (visits$value - growth$size(sex, visits$age))),
    measurement = yardstick$s^2 * sum(w^2 / visits$readings),
    growth = growth_covariance(visits, w, w, yardstick)
  )
}

growth_covariance <- function(visits, w1, w2, yardstick) {
  growth <- yardstick$growth
  columns <- growth$columns(visits$sex[1], visits$age)
  short_term <- max(0, growth$residual_variance - yardstick$s^2 * growth$error_share)
  curve <- as.numeric((w1 %*% columns) %*% growth$V %*% t(w2 %*% columns))
  growth$rate_variance * sum(w1 * visits$age) * sum(w2 * visits$age) + short_term * sum(w1 * w2) + curve
}

contrast_covariance <- function(a, b, yardstick) {
  yardstick$s^2 * sum(a$w * b$w / a$visits$readings) + growth_covariance(a$visits, a$w, b$w, yardstick)
}

total_variance <- function(contrast) contrast$measurement + contrast$growth

# All ratios r for which a - r b is within `multiplier` standard deviations of zero: the roots of a quadratic.
fieller <- function(a, b, va, vb, cab, multiplier) {
  p <- b^2 - multiplier^2 * vb
  h <- a * b - multiplier^2 * cab
  r <- a^2 - multiplier^2 * va
  inside <- h^2 - p * r
  if (p > 0) {
    list(kind = "bounded", lower = (h - sqrt(inside)) / p, upper = (h + sqrt(inside)) / p)
  } else if (inside > 0) {
    list(kind = "unbounded", lower = (h + sqrt(inside)) / p, upper = (h - sqrt(inside)) / p)
  } else {
    list(kind = "whole-line")
  }
}

# The visits of one patient with their contrasts: `gain` A(0), `later` A(t), `margin` D = A(t) - q A(0). NULL without a
# start value; neither gain nor margin without a value at the end of active treatment.
patient_course <- function(visits, q, yardstick) {
  visits <- visits[speaks_for(yardstick$growth, visits$sex[1], visits$age), ]
  start <- which(visits$visit_kind == "start")
  end <- which(visits$visit_kind == "end_of_active")
  follow_up <- which(visits$visit_kind == "follow_up")
  if (length(start) == 0) return(NULL)
  one <- function(i) replace(numeric(nrow(visits)), i, 1)
  make <- function(w) contrast_of(visits, w, yardstick)
  first <- if (length(end) == 1) one(end) - one(start)
  list(
    visits = visits, follow_up = follow_up, gain = if (!is.null(first)) make(first),
    later = lapply(follow_up, function(i) make(one(i) - one(start))),
    margin = if (!is.null(first)) lapply(follow_up, function(i) make(one(i) - one(start) - q * first))
  )
}

gain_as_list <- function(gain, multiplier) {
  half <- multiplier * sqrt(total_variance(gain))
  list(
    estimate = gain$estimate, measurementSd = sqrt(gain$measurement), growthSd = sqrt(gain$growth),
    lower = gain$estimate - half, upper = gain$estimate + half
  )
}

status_of <- function(margin, multiplier) {
  half <- multiplier * sqrt(total_variance(margin))
  lower <- margin$estimate - half
  upper <- margin$estimate + half
  verdict <- if (lower > 0) "held" else if (upper < 0) "lost" else "cannot-tell"
  list(
    verdict = verdict,
    reason = if (verdict != "cannot-tell") NULL else if (margin$growth > margin$measurement) "growth" else "measurement",
    margin = margin$estimate, measurementSd = sqrt(margin$measurement), growthSd = sqrt(margin$growth),
    lower = lower, upper = upper
  )
}
