# Makes the outputs of models_other_families.json that no earlier table prints. R 4.2.2, glmmTMB 1.1.5, lme4 1.1-31.
suppressMessages(library(glmmTMB))
show <- function(fit, group) {
  spread <- VarCorr(fit)$cond[[group]]
  print(summary(fit)$coefficients$cond[, 1:2], digits = 10)
  cat("log L", format(as.numeric(logLik(fit)), digits = 12), "sd", if (is.null(spread)) "none" else format(attr(spread, "stddev"), digits = 9),
      "sigma", format(sigma(fit), digits = 9), "\n")
}
data(cbpp, package = "lme4")
show(glmmTMB(cbind(incidence, size - incidence) ~ period + (1 | herd), cbpp, family = binomial), "herd")
show(glmmTMB(cbind(incidence, size - incidence) ~ period, cbpp, family = betabinomial), "herd")
data(sleepstudy, package = "lme4")
show(glmmTMB(Reaction ~ Days + (1 | Subject), sleepstudy, family = Gamma("log")), "Subject")
