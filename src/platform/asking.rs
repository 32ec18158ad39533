//! Callers who are asked in another way than by a [`Permit`] before the handler begins.

use std::future::{Future, Ready, ready};
use std::marker::PhantomData;
use std::ops::Deref;
use std::pin::Pin;

use actix_web::{FromRequest, HttpRequest, dev::Payload};

use super::access::{Act, Caller, Permit};
use super::problem::Problem;

/// A signed-in caller whose token has the scope of an act, in no club.
#[derive(Debug)]
pub struct Scoped<A>(pub Caller, PhantomData<A>);

impl<A: Act> FromRequest for Scoped<A> {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let caller = Caller::from_request(req, payload);
        Box::pin(async move {
            let caller = caller.await?;
            caller.require_scope(A::SCOPE)?;
            Ok(Self(caller, PhantomData))
        })
    }
}

/// A permit for people alone: what decides over apps or over who belongs to the club, or goes on when an app is revoked, no app does for
/// anybody.
#[derive(Debug)]
pub struct InPerson<A>(Permit<A>);

impl<A: Act> FromRequest for InPerson<A> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let permit = Permit::from_request(req, payload).into_inner();
        ready(permit.and_then(|permit| permit.in_person().map(|()| Self(permit))))
    }
}

impl<A> Deref for InPerson<A> {
    type Target = Permit<A>;

    fn deref(&self) -> &Permit<A> {
        &self.0
    }
}

/// A permit that the handler asks for itself: when it has no answer without, or again after a wait.
#[derive(Debug)]
pub struct Later<A>(HttpRequest, PhantomData<A>);

impl<A: Act> FromRequest for Later<A> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(Ok(Self(req.clone(), PhantomData)))
    }
}

impl<A: Act> Later<A> {
    /// The permit, as it is now.
    ///
    /// # Errors
    /// 401, 403 and 404, as of a [`Permit`].
    pub async fn ask(&self) -> Result<Permit<A>, Problem> {
        Permit::extract(&self.0).await
    }
}
