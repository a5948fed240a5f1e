# Weibull regression of ln life on one number, over exact, windowed, left- and right-censored
# lives: what tests/reference/successive-lives.json holds. Run in this folder:
#   Rscript successive-lives.R > successive-lives.out
# survreg: ln T = (Intercept) + slope * x + sigma * W, W standard smallest extreme value,
# so that ln scale = (Intercept) + slope * x and shape = 1/sigma.
library(survival)
d <- read.csv("successive-lives.csv")
# type "interval2": NA on the left is left-censored, on the right right-censored.
s <- Surv(d$lo, d$hi, type = "interval2")
tight <- survreg.control(rel.tolerance = 1e-14, toler.chol = 1e-14, maxiter = 200)
rich <- survreg(s ~ x, data = d, dist = "weibull", control = tight)
plain <- survreg(s ~ 1, data = d, dist = "weibull", control = tight)
lr <- 2 * (rich$loglik[2] - plain$loglik[1])
show <- function(name, value) cat(sprintf("%-24s %.15g\n", name, value))
cat(R.version.string, "\nsurvival", as.character(packageVersion("survival")), "\n")
show("shape", 1 / rich$scale)
show("ln_scale", coef(rich)[["(Intercept)"]])
show("slope", coef(rich)[["x"]])
show("se_slope", sqrt(vcov(rich)["x", "x"]))
show("loglik", rich$loglik[2])
show("level.loglik", plain$loglik[1])
show("level.shape", 1 / plain$scale)
show("level.scale", exp(coef(plain)[["(Intercept)"]]))
show("lr", lr)
show("p", pchisq(lr, 1, lower.tail = FALSE))
# Profile-likelihood limits of the slope, 90 %: the slope held as an offset.
held <- function(b) {
  fit <- survreg(s ~ offset(b * x), data = d, dist = "weibull", control = tight)
  2 * (rich$loglik[2] - tail(fit$loglik, 1)) - qchisq(0.9, 1)
}
at <- coef(rich)[["x"]]
show("slope.lr90.lower", uniroot(held, c(at - 1, at), tol = 1e-13)$root)
show("slope.lr90.upper", uniroot(held, c(at, at + 1), tol = 1e-13)$root)
