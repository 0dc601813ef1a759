# Maximum of the interval-censored likelihood with fixed scale, flat priors: the numbers in
# survreg.json, from R's survival package (interval2, Gaussian).
#
#   Rscript survreg.R survreg.csv > survreg.json
#
# survreg.csv: x = trial - 1, lo and hi = ends of ln grams (NA: open; equal: weighed).
library(survival)
d <- read.csv(commandArgs(trailingOnly = TRUE)[1])
fit <- survreg(Surv(lo, hi, type = "interval2") ~ x, data = d, dist = "gaussian", scale = 0.45,
               control = survreg.control(rel.tolerance = 1e-14, maxiter = 200))
v <- vcov(fit)
cat(sprintf('{"survival": "%s", "n": %d, "scale": 0.45, "a": %.15g, "b": %.15g, "a_se": %.15g, "b_se": %.15g, "ab_cov": %.15g, "log_likelihood": %.15g}\n',
            packageVersion("survival"), nrow(d), coef(fit)[1], coef(fit)[2], sqrt(v[1, 1]), sqrt(v[2, 2]), v[1, 2], fit$loglik[2]))
