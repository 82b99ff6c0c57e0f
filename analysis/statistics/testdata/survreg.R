# Fits the censored data sets of a CSV file (set, lower, upper; NA is open) with
# survreg of R's package survival and prints one line a fit:
# set dist location scale loglik
suppressPackageStartupMessages(library(survival))
file <- commandArgs(trailingOnly = TRUE)[1]
all <- read.csv(file)
for (set in unique(all$set)) {
  d <- all[all$set == set, ]
  for (dist in c("weibull", "lognormal")) {
    fit <- suppressWarnings(survreg(Surv(lower, upper, type = "interval2") ~ 1, data = d, dist = dist,
      control = survreg.control(maxiter = 500, rel.tolerance = 1e-13)))
    cat(set, dist, sprintf("%.12g %.12g %.12g\n", coef(fit)[[1]], fit$scale, fit$loglik[1]))
  }
}
