# Makes the outputs of models_series.json. R 4.2.2, nlme 3.1.162.
suppressMessages(library(nlme))
d <- data.frame(y = as.numeric(Nile), t = 1871:1970)
d$after <- as.numeric(d$t >= 1899)
d$since <- pmax(d$t - 1899, 0)
for (f in c("y ~ after", "y ~ t + after", "y ~ t + after + since")) {
  m <- gls(as.formula(f), d, correlation = corAR1(form = ~t), method = "REML",
           control = glsControl(tolerance = 1e-10, msTol = 1e-12, opt = "optim"))
  cat(f, "\n")
  print(summary(m)$tTable[, 1:2], digits = 9)
  cat("rho", format(coef(m$modelStruct$corStruct, unconstrained = FALSE), digits = 9), "sigma", format(m$sigma, digits = 9), "\n")
}
gap <- d[-c(5, 6, 40), ]
m <- gls(y ~ after, gap, correlation = corAR1(form = ~t), method = "REML",
         control = glsControl(tolerance = 1e-10, msTol = 1e-12, opt = "optim"))
print(summary(m)$tTable[, 1:2], digits = 9)
cat("gaps rho", format(coef(m$modelStruct$corStruct, unconstrained = FALSE), digits = 9), "\n")
